"""The command line; the door is ``main.main``."""
