"""Sheets built, checked and shown in the view."""
