"""From a picture to layers: tones, a shape for each role, curves, a drawing and a score."""
