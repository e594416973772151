"""A picture into layers, in Blender."""

#: Modules with something to register, in order.
MODULES = ("tracing_property", "preview", "trace_picture", "panel")
