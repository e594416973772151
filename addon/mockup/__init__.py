"""Mock-ups on a wall."""

#: Modules with something to register, in order.
MODULES = ("mockup", "panel")
