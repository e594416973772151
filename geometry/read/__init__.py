"""Readers of artwork: one file a format, each giving an ``Artwork``."""
