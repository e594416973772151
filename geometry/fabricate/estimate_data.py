"""The estimate as plain values for the report: words for people, numbers for programs."""

from __future__ import annotations

import dataclasses
from typing import Any

from .estimate import Estimate, LayerEstimate, Range
from .estimate_text import estimate_rows

#: Decimals kept of estimated numbers.
_DECIMALS = 4


def estimate_data(found: Estimate) -> dict[str, Any]:
    """Return an estimate ready for ``json.dumps``.

    Returns
    -------
    dict
        ``currency``; ``layers`` and ``total``, each with the fields of ``LayerEstimate`` (ranges
        as [low, high]); ``rows``, the same as a table of words with a heading; ``assumptions``
        with key, value, about and source.
    """
    return {
        "currency": found.currency,
        "layers": [_values(e) for e in found.layers],
        "total": _values(found.total),
        "rows": [list(row) for row in estimate_rows(found)],
        "assumptions": [dataclasses.asdict(a) for a in found.assumptions],
    }


def _values(e: LayerEstimate) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for field in dataclasses.fields(e):
        value = getattr(e, field.name)
        if isinstance(value, Range):
            value = [round(value.low, _DECIMALS), round(value.high, _DECIMALS)]
        elif isinstance(value, float):
            value = round(value, _DECIMALS)
        values[field.name] = value
    return values
