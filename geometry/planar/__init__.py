"""Plane geometry on arrays and Shapely shapes; knows no job and no sheet."""
