"""Sheets built, checked and shown in the view."""

#: Modules with something to register, in order.
MODULES = ("last_build", "selection", "build_sheets", "find_islands", "viewport_marks", "panel")
