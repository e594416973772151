"""A photo of the client's wall: how it was taken, and the picture painted onto it."""
