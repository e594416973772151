"""What the add-on made in a scene: known by pointer and tag, never by name.

A scene lists the objects that the add-on put into it (``scene.sheetstack.made``); a copy that the
user made is not in the list, so that it is the user's. Meshes, materials and pictures of such
objects carry a tag; they go with the last object that used them, and only if they carry it.
"""

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import bpy
from bpy.props import CollectionProperty, PointerProperty, StringProperty

#: Custom property of data-blocks that the add-on made and may change again.
TAG = "sheetstack_made"
#: Kinds of data-blocks that objects bring with them.
STORES = ("objects", "meshes", "curves", "materials", "images", "worlds", "lights", "cameras")


class SHEETSTACK_PG_made(bpy.types.PropertyGroup):
    """An object that the add-on made."""

    role: StringProperty(name="Role", description="What it is for", options={"HIDDEN"})
    thing: PointerProperty(type=bpy.types.Object, name="Object", description="The object")


class OwnershipProperties:
    """What a scene keeps of the objects that the add-on made in it."""

    made: CollectionProperty(
        type=SHEETSTACK_PG_made, description="Objects that the add-on made in this scene"
    )
    key: StringProperty(
        description="What tells this scene from others while work goes on", options={"HIDDEN"}
    )


def own(block: Any) -> Any:
    """Tag a data-block as the add-on's own and return it."""
    block[TAG] = True
    return block


def is_own(block: Any) -> bool:
    """Return whether a data-block is the add-on's own."""
    return block is not None and block.library is None and bool(block.get(TAG))


def made(scene: Any, role: str) -> dict[str, Any]:
    """Return the objects of a role that stand in a scene, by the names they were added under."""
    rows = [row for row in scene.sheetstack.made if row.role == role and row.thing is not None]
    return {row.name: row.thing for row in rows if stands_in(scene, row.thing)}


def stands_in(scene: Any, thing: Any) -> bool:
    """Return whether a scene holds an object; one that was deleted may live on unseen."""
    return bool(scene.objects.get(thing.name) == thing)


def is_made(scene: Any, thing: Any) -> bool:
    """Return whether an object of a scene is one that the add-on made."""
    return any(row.thing == thing for row in scene.sheetstack.made)


def add_made(scene: Any, role: str, thing: Any, name: str = "") -> Any:
    """List an object as made by the add-on, with its data, and return it.

    Parameters
    ----------
    scene : Scene
    role : str
        What it was made for; it is removed together with all else of its role.
    thing : Object
    name : str
        Under which it is found among those of its role.
    """
    row = scene.sheetstack.made.add()
    row.role, row.name, row.thing = role, name, own(thing)
    if thing.data is not None:
        own(thing.data)
    return thing


def give_away(scene: Any, thing: Any) -> None:
    """Take an object off the list: from now on it is the user's."""
    rows = scene.sheetstack.made
    for number in reversed(range(len(rows))):
        if rows[number].thing == thing:
            rows.remove(number)
    for block in (thing, thing.data):
        if block is not None and TAG in block:
            del block[TAG]


def remove_made(scene: Any, role: str, name: str | None = None, thing: Any = None) -> None:
    """Remove objects of a role, with what they alone used of ours.

    Parameters
    ----------
    scene : bpy.types.Scene
    role : str
    name : str, optional
        Only the one that was added under this name.
    thing : bpy.types.Object, optional
        Only this one.
    """
    rows = scene.sheetstack.made
    things = []
    for number in reversed(range(len(rows))):
        row = rows[number]
        if row.role == role and name in (None, row.name) and thing in (None, row.thing):
            if row.thing is not None:
                things.append(row.thing)
            rows.remove(number)
    used = [block for gone in things for block in _used_by(gone)]
    for gone in things:
        for child in gone.children:
            # What the user hung on it stays where it is.
            place = child.matrix_world.copy()
            child.parent = None
            child.matrix_world = place
        bpy.data.objects.remove(gone)
    remove_unused(used)


def remove_unused(blocks: list[Any]) -> None:
    """Remove those data-blocks that are our own and that nothing uses, users before what they use.

    Parameters
    ----------
    blocks : list
        What uses others stands first.
    """
    seen = set()
    for block in blocks:
        pointer = block.as_pointer()
        if pointer not in seen:
            seen.add(pointer)
            if is_own(block) and block.users == 0:
                bpy.data.batch_remove([block])


def _used_by(thing: Any) -> list[Any]:
    if thing.data is None:
        return []
    materials = [m for m in getattr(thing.data, "materials", ()) if m is not None]
    return [thing.data, *materials, *(image for m in materials for image in _images(m))]


def _images(material: Any) -> list[Any]:
    nodes = material.node_tree.nodes if material.node_tree else ()
    return [n.image for n in nodes if n.type == "TEX_IMAGE" and n.image is not None]


@contextmanager
def owning(scene: Any, role: str) -> Iterator[None]:
    """List and tag all objects, with their data, that are made meanwhile."""
    before = {block.as_pointer() for store in STORES for block in getattr(bpy.data, store)}
    yield
    for store in STORES:
        for block in getattr(bpy.data, store):
            if block.as_pointer() not in before:
                own(block)
                if store == "objects":
                    add_made(scene, role, block, block.name)


def key_of(scene: Any) -> str:
    """Return what finds a scene again after a while, whatever it is called then."""
    state = scene.sheetstack
    taken = {other.sheetstack.key for other in bpy.data.scenes if other != scene}
    if not state.key or state.key in taken:  # none yet, or that of the scene it was copied from
        state.key = uuid.uuid4().hex
    return str(state.key)


def scene_of(key: str) -> Any:
    """Return the scene of a key, None where it is gone."""
    return next((scene for scene in bpy.data.scenes if scene.sheetstack.key == key), None)


CLASSES = (SHEETSTACK_PG_made,)
