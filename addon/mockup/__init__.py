"""Mock-ups on a wall."""

#: Modules with something to register, in order.
MODULES = ("mockup", "wall_photo", "panel")
