"""Plain geometry for 3D views and mock-ups."""
