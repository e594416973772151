"""Reading DXF drawings."""
