"""The job in the scene: properties, opening and saving, layers."""

#: Modules with something to register, in order.
MODULES = (
    "job_property",
    "object_property",
    "job_file",
    "layer_list",
    "import_drawing",
    "separate_drawing",
    "drawn_objects",
    "artwork_from_objects",
    "sources",
    "material_preset",
    "file_upgrade",
    "panel",
)
