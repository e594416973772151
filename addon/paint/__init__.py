"""The picture that is sprayed."""

#: Modules with something to register, in order.
MODULES = ("painted_plane", "follow_drag", "bridge_styles", "panel")
