"""Reading SVG drawings; the door is ``read.read_svg``."""
