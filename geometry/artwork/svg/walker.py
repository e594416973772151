"""What clips and patterns need of the walk through a drawing: to go into elements of their own."""

from __future__ import annotations

from typing import Protocol
from xml.etree.ElementTree import Element

from .areas import Item
from .state import Purpose, State


class Walker(Protocol):
    """What walks through the elements of a clip path, a mask or a pattern."""

    def enter(self, element: Element, state: State, purpose: Purpose) -> State | None:
        """Return the state inside an element.

        Parameters
        ----------
        element : Element
        state : State
            Outside of the element.
        purpose : Purpose
        """

    def collect(self, element: Element, state: State, purpose: Purpose) -> list[Item]:
        """Return the items of an element.

        Parameters
        ----------
        element : Element
        state : State
            Outside of the element.
        purpose : Purpose
        """
