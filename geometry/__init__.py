"""Sheetstack's geometry: layered artwork in, rigid stencil sheets out. Millimetres; no Blender."""
