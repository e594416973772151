"""Triangle meshes: extrusion, connectivity (islands), outlines, soundness."""
