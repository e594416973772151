"""What all features of the add-on share."""

#: Modules with something to register, in order.
MODULES = ("ownership", "list_rows", "look", "long_work", "keymap", "preferences", "translations")
