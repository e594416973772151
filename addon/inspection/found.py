"""How sheets were found before inspection changed them, to be given back just so."""

from __future__ import annotations

import json
from typing import Any


def remember(sheet: Any, key: str, value: Any) -> Any:
    """Keep how something of a sheet was found, the first time only; return what is kept.

    Parameters
    ----------
    sheet : Object
    key : str
    value : object
        That JSON can hold.
    """
    kept = _kept(sheet)
    if key not in kept:
        kept[key] = value
        sheet.sheetstack.found = json.dumps(kept)
    return kept[key]


def take_back(sheet: Any, key: str) -> Any:
    """Return how something was found and forget it; None where it was not changed."""
    kept = _kept(sheet)
    value = kept.pop(key, None)
    sheet.sheetstack.found = json.dumps(kept) if kept else ""
    return value


def _kept(sheet: Any) -> dict[str, Any]:
    text = sheet.sheetstack.found
    return json.loads(text) if text else {}
