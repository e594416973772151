"""The picture that is sprayed."""

#: Modules with something to register, in order.
MODULES = ("painted_plane", "bridge_styles", "panel")
