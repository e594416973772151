"""What all features of the add-on share."""

#: Modules with something to register, in order.
MODULES = ("long_work",)
