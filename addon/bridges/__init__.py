"""Bridges drawn and moved by hand."""
