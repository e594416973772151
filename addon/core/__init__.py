"""What all features of the add-on share."""

#: Modules with something to register, in order.
MODULES = ("ownership", "look", "long_work")
