"""Sheetstack's Blender add-on: properties, operators, panels; every computation is in geometry."""
