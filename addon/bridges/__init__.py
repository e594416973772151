"""Bridges drawn and moved by hand."""

#: Modules with something to register, in order.
MODULES = (
    "hand_bridges",
    "places_from_selected",
    "followed_places",
    "live_drag",
    "bridge_tool",
    "handles",
    "place_handles",
    "panel",
)
