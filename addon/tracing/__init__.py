"""A picture into layers, in Blender."""

#: Modules with something to register, in order.
MODULES = (
    "known_marks",
    "tracing_property",
    "preview",
    "trace_picture",
    "mark_handles",
    "mark_picture",
    "panel",
)
