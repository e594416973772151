"""From outlines as drawn to valid filled areas; the door is ``fill.fill``."""
