"""A picture into layers, in Blender."""
