"""Mock-ups on a wall."""
