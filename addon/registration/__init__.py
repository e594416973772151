"""What keeps the sheets in register."""

#: Modules with something to register, in order.
MODULES = ("panel",)
