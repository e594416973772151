"""Files written from Blender."""
