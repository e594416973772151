"""Islands held: bridges, strength, narrow places; the door is ``support.support_layer``."""
