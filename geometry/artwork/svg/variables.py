"""Custom properties of CSS: ``--name: value`` declared, ``var(--name, fallback)`` put in.

As CSS Custom Properties for Cascading Variables, Level 1, has it: they are inherited, a fallback
may hold others, those that need each other in a ring are invalid, and a property whose value needs
an invalid one is as if it were not declared (sections 2 and 3).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import tinycss2

#: Names of custom properties begin so.
MARK = "--"
#: Tells that what is declared has all custom properties of an element (CSS keeps the name free).
ALL = "--"

#: Variables within each other, and characters that a value may come to with all of them put in: a
#: few lines that double each other would ask for gigabytes.
_DEEPEST = 40
_LONGEST_VALUE = 100_000

#: What makes a property invalid.
_WIDE = ("inherit", "unset", "revert", "revert-layer")

Declared = dict[str, str]
Variables = Mapping[str, str]


def needs_variables(text: str) -> bool:
    """Return whether a value may hold ``var(...)``."""
    return "(" in text and "var(" in text.lower()


def put_in(declared: Declared, inherited: Variables) -> Declared:
    """Return what is declared on an element with each variable's value put in.

    Parameters
    ----------
    declared : dict of str to str
        Custom properties among them.
    inherited : mapping
        Custom properties of the parent.

    Returns
    -------
    dict of str to str
        The same where nothing was to do; else without properties that a variable makes invalid, and
        with every custom property that the element has, inherited ones too, and ``ALL``.

    Raises
    ------
    ValueError
        Variables are within each other too deep, or make a value too long.
    """
    own = {name: text for name, text in declared.items() if name.startswith(MARK)}
    if not own and not any(map(needs_variables, declared.values())):
        return declared
    values = _Values(own, inherited)
    plain = {}
    for name, text in declared.items():
        if name not in own:
            value = values.put_into(text) if needs_variables(text) else text
            if value is not None:
                plain[name] = value
    return {**plain, **values.all()}


def put_into(text: str, variables: Variables) -> str | None:
    """Return one value with the values of variables put in; None where that is invalid.

    Raises
    ------
    ValueError
        As of :func:`put_in`.
    """
    return _Values({}, variables).put_into(text)


class _Values:
    def __init__(self, own: Declared, inherited: Variables) -> None:
        self._inherited = inherited
        self._own = own
        self._known: dict[str, str | None] = {}
        self._open: list[str] = []
        self._ring: set[str] = set()

    def all(self) -> Declared:
        """Return every custom property that has a value."""
        found = {**self._inherited, ALL: ""}
        for name in self._own:
            value = self._value(name)
            if value is None:
                found.pop(name, None)
            else:
                found[name] = value
        return found

    def put_into(self, text: str) -> str | None:
        value = self._joined(_parsed(text))
        return None if value is None else value.strip()

    def _value(self, name: str) -> str | None:
        """Return a custom property's value; None where it has none."""
        text = self._own.get(name)
        word = None if text is None else text.strip().lower()
        if text is None or word in _WIDE:
            return self._inherited.get(name)
        if word == "initial":
            return None
        if name in self._open:
            self._ring.update(self._open[self._open.index(name) :])
            return None
        if name not in self._known:
            if len(self._open) >= _DEEPEST:
                raise ValueError(f"has variables that need each other more than {_DEEPEST} deep")
            self._open.append(name)
            value = self.put_into(text) if needs_variables(text) else text.strip()
            self._open.pop()
            self._known[name] = None if name in self._ring else value
        return self._known[name]

    def _joined(self, tokens: list[Any], depth: int = 0) -> str | None:
        if depth > _DEEPEST:
            raise ValueError(f"has variables or brackets more than {_DEEPEST} deep")
        parts, long = [], 0
        for token in tokens:
            inner: list[Any] = getattr(token, "arguments", [])
            if token.type == "function" and token.lower_name == "var":
                part = self._variable(inner, depth)
            elif token.type == "function":
                part = self._joined(inner, depth + 1)
                part = None if part is None else f"{token.name}({part})"
            else:
                part = _written(token)
            if part is None:
                return None
            parts.append(part)
            long += len(part)
            if long > _LONGEST_VALUE:
                raise ValueError(
                    f"has variables that come to more than {_LONGEST_VALUE:,} characters"
                )
        return "".join(parts)

    def _variable(self, arguments: list[Any], depth: int) -> str | None:
        comma = next((k for k, a in enumerate(arguments) if a == ","), len(arguments))
        name = "".join(_written(a) for a in arguments[:comma]).strip()
        value = self._value(name) if name.startswith(MARK) else None
        if value is None and comma < len(arguments):
            return self._joined(arguments[comma + 1 :], depth + 1)
        return value


@lru_cache(maxsize=1024)
def _parsed(text: str) -> list[Any]:
    return list(tinycss2.parse_component_value_list(text, skip_comments=True))


def _written(token: Any) -> str:
    try:
        return str(tinycss2.serialize([token]))
    except RecursionError:  # brackets within brackets: the parser has no such limit
        raise ValueError(f"has brackets more than {_DEEPEST} deep") from None
