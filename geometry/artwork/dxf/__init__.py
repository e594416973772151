"""Reading DXF drawings."""

from ... import ezdxf_library  # noqa: F401 - loaded before any module here asks for ezdxf
