"""The job in the scene: properties, opening and saving, layers."""
