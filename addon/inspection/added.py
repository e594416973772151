"""What inspection adds to a scene: collections that are filled anew, materials of one colour."""

import bpy

from ..core.conversion import shader_colour


def emptied(scene: bpy.types.Scene, name: str) -> bpy.types.Collection:
    """Return a collection of the scene with nothing in it."""
    held = bpy.data.collections.get(name)
    if held is None:
        held = bpy.data.collections.new(name)
    if name not in {c.name for c in scene.collection.children_recursive}:
        scene.collection.children.link(held)
    for thing in list(held.objects):
        data = thing.data
        bpy.data.objects.remove(thing)
        if data is not None and data.users == 0:
            store = bpy.data.meshes if isinstance(data, bpy.types.Mesh) else bpy.data.curves
            store.remove(data)
    return held


def plain(name: str, colour: str) -> bpy.types.Material:
    made = bpy.data.materials.get(name) or bpy.data.materials.new(name)
    made.diffuse_color = shader_colour(colour)
    return made
