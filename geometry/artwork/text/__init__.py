"""Text set in a font, as artwork."""
