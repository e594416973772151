"""Reading drawings and masks; the door is ``read.read_artwork``."""
