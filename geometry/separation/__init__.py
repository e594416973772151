"""From a drawing in flat colours to layers: what is seen, in which cans, in which spray order."""
