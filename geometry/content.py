"""Content: a short key of what values say, so that equal ones are known without being compared."""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from hashlib import blake2b
from pathlib import PurePath
from typing import Any

import numpy as np
import shapely

#: Bytes of a key: two of different content are the same with a chance of 2^-128.
_SIZE = 16


def content_key(*values: object) -> bytes:
    """Return a key that tells values apart by all that they say, floats to the last bit.

    Parameters
    ----------
    *values
        Numbers, texts, paths, enumerations, NumPy arrays, Shapely geometries, and tuples, lists,
        mappings and dataclasses of them. Fields that do not count when a dataclass is compared do
        not count here. An object of another class gives its content by a method ``content()``.

    Raises
    ------
    TypeError
        A value has no content that could be known, a function for example.

    Examples
    --------
    >>> content_key(1.0, "a") == content_key(1.0, "a")
    True
    >>> content_key("ab", "c") == content_key("a", "bc")
    False
    """
    digest = blake2b(digest_size=_SIZE)
    for part in _said(values):
        digest.update(part)
    return digest.digest()


def _said(value: Any) -> Iterator[bytes]:
    """Yield what a value says; kind and length go first, so that no two read the same."""
    kind = type(value)
    if value is None or kind is bool or kind is int:
        yield f"{kind.__name__} {value};".encode()
    elif kind is float:
        yield b"float " + struct.pack("<d", value)
    elif kind is str:
        yield from _counted("str", value.encode("utf-8", "surrogatepass"))
    elif kind is bytes:
        yield from _counted("bytes", value)
    elif isinstance(value, Enum):
        yield f"{kind.__qualname__}.{value.name};".encode()
    elif isinstance(value, PurePath):
        yield from _counted("path", str(value).encode("utf-8", "surrogatepass"))
    elif isinstance(value, np.ndarray):
        yield f"array {value.dtype.str} {value.shape};".encode()
        if value.dtype == object:
            yield from _several(value.ravel().tolist())
        else:
            yield np.ascontiguousarray(value).tobytes()
    elif isinstance(value, np.generic):
        yield f"scalar {value.dtype.str};".encode() + value.tobytes()
    elif isinstance(value, shapely.Geometry):
        yield from _counted(kind.__name__, shapely.to_wkb(value))
    elif isinstance(value, (tuple, list)):
        yield f"several {len(value)};".encode()
        yield from _several(value)
    elif isinstance(value, Mapping):
        yield f"mapping {len(value)};".encode()
        for item in value.items():
            yield from _several(item)
    elif is_dataclass(value) and not isinstance(value, type):
        yield f"{kind.__qualname__};".encode()  # the package has another name inside Blender
        for one in fields(value):
            if one.compare:
                yield from _said(getattr(value, one.name))
    elif hasattr(value, "content"):
        yield f"{kind.__qualname__};".encode()
        yield from _said(value.content())
    else:
        raise TypeError(f"{kind.__qualname__} has no content that could be known.")


def _several(values: Any) -> Iterator[bytes]:
    for value in values:
        yield from _said(value)


def _counted(kind: str, text: bytes) -> Iterator[bytes]:
    yield f"{kind} {len(text)};".encode()
    yield text
