"""The stack looked at before it is cut: see-through, drift, labels, section."""

#: Modules with something to register, in order.
MODULES = ("inspection_property", "drift", "labels", "section", "end_inspection", "panel")
