"""The add-on's words in other languages, for Blender's own choice of language.

A catalogue is a JSON file named by Blender's locale, like ``de_DE.json``: the English text, then
its translation. What a catalogue lacks stays English. ``messages`` lists all there is to translate.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import bpy

#: Blender looks labels of operators up under a word of their own.
CONTEXTS = ("*", "Operator")


def catalogues(folder: Path = Path(__file__).parent) -> dict[str, dict[tuple[str, str], str]]:
    """Return the translations by locale, as Blender registers them."""
    found = {}
    for path in sorted(folder.glob("*.json")):
        texts = json.loads(path.read_text(encoding="utf-8"))
        found[path.stem] = {
            (context, english): text for english, text in texts.items() for context in CONTEXTS
        }
    return found


def messages(classes: Iterable[Any]) -> list[str]:
    """Return all labels and tooltips of registered classes and of their properties, sorted."""
    found: set[str] = set()
    for cls in classes:
        rna = cls.bl_rna
        common = set() if rna.base is None else set(rna.base.properties.keys())
        found |= {rna.name, rna.description, getattr(cls, "bl_label", "")}
        for prop in rna.properties:
            if prop.identifier not in common:
                found |= {prop.name, prop.description}
                if prop.type == "ENUM":
                    for item in prop.enum_items:
                        found |= {item.name, item.description}
    return sorted(text for text in found if text)


CLASSES = ()


def register() -> None:
    """Give Blender the catalogues."""
    bpy.app.translations.register(__name__, catalogues())


def unregister() -> None:
    """Take them away again."""
    bpy.app.translations.unregister(__name__)
