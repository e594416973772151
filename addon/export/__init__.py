"""Files written from Blender."""

#: Modules with something to register, in order.
MODULES = ("export_sheets", "machine_export", "write_files", "panel", "stock_list")
