"""Building the zips that Blender installs."""
