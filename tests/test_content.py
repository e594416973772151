"""Keys of content: equal for equal values only."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely

from sheetstack.geometry.content import content_key


class Kind(Enum):
    ONE = 1
    TWO = 2


@dataclass(frozen=True)
class Pair:
    a: object
    b: object = 0
    beside: object = field(default=None, compare=False)


class Told:
    def __init__(self, value):
        self.value = value

    def content(self):
        return (self.value,)


SQUARE = shapely.box(0, 0, 1, 1)
VALUES = [
    None,
    False,
    0,
    0.0,
    -0.0,
    float(np.nextafter(0.1, 1)),
    0.1,
    "",
    "0",
    b"0",
    Path("0"),
    (),
    ((),),
    ("ab", "c"),
    ("a", "bc"),
    {"a": 1},
    Kind.ONE,
    Kind.TWO,
    np.zeros(2),
    np.zeros(2, np.int64),
    np.zeros((1, 2)),
    np.float64(0),
    SQUARE,
    shapely.MultiPolygon([SQUARE]),
    SQUARE.exterior,
    shapely.LineString(SQUARE.exterior.coords),
    shapely.box(0, 0, 1, np.nextafter(1, 2)),
    np.array([SQUARE], object),
    Pair(1),
    Pair(0, 1),
    Told(1),
    Told(2),
]


def test_values_that_differ_in_anything_have_keys_that_differ():
    keys = [content_key(value) for value in VALUES]
    same = [
        (VALUES[a], VALUES[b]) for a, b in combinations(range(len(keys)), 2) if keys[a] == keys[b]
    ]
    assert not same


def test_equal_values_have_one_key_whatever_objects_they_are():
    for one, other in [
        (np.arange(6.0)[::2], np.array([0.0, 2.0, 4.0])),
        (shapely.box(0, 0, 1, 1), SQUARE),
        (Pair(1, (2,), "told"), Pair(1, (2,), "something else")),
        (Told("x"), Told("x")),
    ]:
        assert content_key(one) == content_key(other)


def test_what_has_no_content_is_refused():
    with pytest.raises(TypeError, match="function has no content"):
        content_key((1, lambda: None))
