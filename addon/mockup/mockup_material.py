"""Materials of the mock-up: procedural, and with the painted picture laid over by place.

The picture is mapped by where a point lies in the scene, not by the surface's own coordinates, so
that paint runs over bricks, joints and edges as it would from a can.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from ...geometry.files.png import png_bytes
from ...geometry.job.materials import Material
from ..core.blender_versions import use_nodes
from ..core.conversion import shader_colour
from ..paint.painted_plane import pack_png


@dataclass(frozen=True)
class PaintedPicture:
    """The painted picture as it lies in the scene.

    Parameters
    ----------
    image : bpy.types.Image
    width, height : float
        In Blender units.
    centre : tuple of float
        Its middle: x and z.
    ground : str
        Colour that the wall gets below and round it.
    border : float
        How far the ground reaches past the picture, in Blender units.
    """

    image: Any
    width: float
    height: float
    centre: tuple[float, float]
    ground: str
    border: float


def image_of(name: str, pixels: NDArray[np.uint8]) -> Any:
    """Return an image of Blender with the given pixels, packed into the file.

    Parameters
    ----------
    name : str
    pixels : uint8 array (rows, columns, 3)
        sRGB, top row first.
    """
    image = bpy.data.images.new(name, 1, 1, alpha=False)
    # Blender would take twice as long to encode them.
    pack_png(image, png_bytes(Image.fromarray(pixels)))
    return image


class Nodes:
    """Builds a node tree, one node a call: inputs by name are values, or other nodes' sockets."""

    def __init__(self, name: str) -> None:
        self.material = bpy.data.materials.new(name)
        use_nodes(self.material)
        self.tree = self.material.node_tree
        self.tree.nodes.clear()

    def add(self, kind: str, inputs: dict[Any, Any] | None = None, **settings: Any) -> Any:
        """Add a node.

        Parameters
        ----------
        kind : str
            Blender's name of its type.
        inputs : dict, optional
            Sockets or values, by names or numbers of the node's own sockets.
        **settings
            Properties of the node.
        """
        node = self.tree.nodes.new(kind)
        for key, value in settings.items():
            setattr(node, key, value)
        for key, value in (inputs or {}).items():
            if isinstance(value, bpy.types.NodeSocket):
                self.tree.links.new(value, node.inputs[key])
            else:
                node.inputs[key].default_value = value
        return node

    def math(self, operation: str, *values: Any, clamp: bool = False) -> Any:
        """Return the socket of a sum, product or other operation on numbers.

        Parameters
        ----------
        operation : str
            As Blender's math node names it.
        *values : socket or float
        clamp : bool
            Keep the result within 0 and 1.
        """
        inputs = dict(enumerate(values))
        return self.add("ShaderNodeMath", inputs, operation=operation, use_clamp=clamp).outputs[0]

    def mix(self, share: Any, first: Any, second: Any) -> Any:
        """Return the socket of a mixture of two colours.

        Parameters
        ----------
        share : socket or float
        first, second : socket or tuple
            Colours, at a share of 0 and 1.
        """
        node = self.add("ShaderNodeMixRGB", {0: share, 1: first, 2: second})
        return node.outputs[0]

    def noise(self, place: Any, scale: float, detail: float = 4.0, rough: float = 0.55) -> Any:
        """Return the socket of a noise, about 0.5.

        Parameters
        ----------
        place : socket
        scale, detail, rough : float
            As Blender's noise texture takes them.
        """
        inputs = {"Vector": place, "Scale": scale, "Detail": detail, "Roughness": rough}
        return self.add("ShaderNodeTexNoise", inputs).outputs[0]

    def ramp(self, value: Any, low: float, high: float) -> Any:
        """Return the socket of a smooth step from 0 at ``low`` to 1 at ``high``.

        Parameters
        ----------
        value : socket
        low, high : float
        """
        node = self.add(
            "ShaderNodeMapRange",
            {"Value": value, "From Min": low, "From Max": high},
            interpolation_type="SMOOTHSTEP",
        )
        return node.outputs[0]

    def place(self) -> Any:
        """Return the socket of a point's place in the scene."""
        return self.add("ShaderNodeNewGeometry").outputs["Position"]

    def surface(self, colour: Any, roughness: Any, normal: Any = None, **more: Any) -> Any:
        """End the tree in one surface; return its node.

        Parameters
        ----------
        colour, roughness, normal : socket or value
        **more : socket or value
            For further sockets of the principled surface.
        """
        inputs: dict[Any, Any] = {"Base Color": colour, "Roughness": roughness}
        if normal is not None:
            inputs["Normal"] = normal
        node = self.add("ShaderNodeBsdfPrincipled", inputs | more)
        self.add("ShaderNodeOutputMaterial", {"Surface": node.outputs[0]})
        return node

    def bump(self, height: Any, distance: float, strength: Any = 1.0) -> Any:
        """Return the socket of a normal bent by a height of 0 to 1 times ``distance``.

        Parameters
        ----------
        height : socket
        distance : float
            In Blender units.
        strength : socket or float
        """
        inputs = {"Height": height, "Distance": distance, "Strength": strength}
        return self.add("ShaderNodeBump", inputs).outputs[0]


def painted(
    nodes: Nodes, place: Any, bare: Any, picture: PaintedPicture | None, ragged: float = 0.0
) -> tuple[Any, Any]:
    """Lay a picture over a surface.

    Parameters
    ----------
    nodes : Nodes
    place : socket
        Of a point in the scene.
    bare : socket or colour
        The surface's own colour.
    picture : PaintedPicture or None
    ragged : float
        How uneven the edge of the ground's paint is, in Blender units.

    Returns
    -------
    colour : socket or colour
    cover : socket or float
        1 where there is paint.
    """
    if picture is None:
        return bare, 0.0
    split = nodes.add("ShaderNodeSeparateXYZ", {0: place})
    x = nodes.math("SUBTRACT", split.outputs[0], picture.centre[0])
    z = nodes.math("SUBTRACT", split.outputs[2], picture.centre[1])
    u = nodes.math("MULTIPLY_ADD", x, 1 / picture.width, 0.5)
    v = nodes.math("MULTIPLY_ADD", z, 1 / picture.height, 0.5)
    at = nodes.add("ShaderNodeCombineXYZ", {0: u, 1: v}).outputs[0]
    texture = nodes.add(
        "ShaderNodeTexImage", {0: at}, image=picture.image, extension="CLIP", interpolation="Cubic"
    )
    ground = shader_colour(picture.ground)
    paint = nodes.mix(texture.outputs["Alpha"], ground, texture.outputs["Color"])
    # Distance past the edge of the painted ground, negative within.
    past_x = nodes.math("SUBTRACT", nodes.math("ABSOLUTE", x), picture.width / 2 + picture.border)
    past_z = nodes.math("SUBTRACT", nodes.math("ABSOLUTE", z), picture.height / 2 + picture.border)
    past = nodes.math("MAXIMUM", past_x, past_z)
    if ragged:
        wave = nodes.math("SUBTRACT", nodes.noise(place, 40.0, 6.0), 0.5)
        past = nodes.math("MULTIPLY_ADD", wave, 6 * ragged, past)
    cover = nodes.math("SUBTRACT", 1.0, nodes.ramp(past, -0.0015, 0.0015))
    return nodes.mix(cover, bare, paint), cover


def brick(picture: PaintedPicture | None) -> Any:
    """Return fired clay, each brick its own tone; faces carry the attribute ``tone``."""
    nodes = Nodes("Mock-up brick")
    place = nodes.place()
    tone = nodes.add("ShaderNodeAttribute", attribute_name="tone").outputs["Fac"]
    ramp = nodes.add("ShaderNodeValToRGB", {0: tone})
    ends = ramp.color_ramp.elements
    ends[0].color, ends[1].color = shader_colour("#7c3f30"), shader_colour("#b5694c")
    middle = ends.new(0.55)
    middle.color = shader_colour("#9c5240")
    patches = nodes.ramp(nodes.noise(place, 14.0, 5.0), 0.35, 0.75)
    bare = nodes.mix(
        nodes.math("MULTIPLY", patches, 0.45), ramp.outputs[0], shader_colour("#8d5a49")
    )
    colour, cover = painted(nodes, place, bare, picture, ragged=0.0025)
    grain = nodes.math(
        "ADD",
        nodes.math("MULTIPLY", nodes.noise(place, 90.0, 6.0, 0.65), 0.6),
        nodes.math("MULTIPLY", nodes.noise(place, 600.0, 2.0), 0.4),
    )
    # Paint fills the finest pits.
    bump = nodes.bump(grain, 0.0032, nodes.math("MULTIPLY_ADD", cover, -0.3, 0.9))
    rough = nodes.math("MULTIPLY_ADD", cover, -0.25, 0.9)
    nodes.surface(colour, rough, bump)
    return nodes.material


def mortar(picture: PaintedPicture | None) -> Any:
    """Return the joints between bricks."""
    nodes = Nodes("Mock-up mortar")
    place = nodes.place()
    stain = nodes.noise(place, 9.0, 5.0)
    bare = nodes.mix(stain, shader_colour("#8f8880"), shader_colour("#b3aba0"))
    colour, cover = painted(nodes, place, bare, picture, ragged=0.0025)
    bump = nodes.bump(nodes.noise(place, 160.0, 6.0, 0.7), 0.005)
    nodes.surface(colour, nodes.math("MULTIPLY_ADD", cover, -0.2, 0.95), bump)
    return nodes.material


def plaster(picture: PaintedPicture | None, colour: str = "#d9d2c4") -> Any:
    """Return trowelled plaster, a little uneven in tone and plane."""
    nodes = Nodes("Mock-up plaster")
    place = nodes.place()
    cloud = nodes.ramp(nodes.noise(place, 2.2, 6.0), 0.3, 0.7)
    darker = tuple(0.86 * c for c in shader_colour(colour)[:3]) + (1.0,)
    bare = nodes.mix(cloud, darker, shader_colour(colour))
    shown, cover = painted(nodes, place, bare, picture, ragged=0.0009)
    stretched = nodes.add("ShaderNodeMapping", {"Vector": place, "Scale": (1.0, 1.0, 2.4)}).outputs[
        0
    ]
    waves = nodes.math("MULTIPLY", nodes.noise(stretched, 7.0, 3.0), 1.0)
    grain = nodes.noise(place, 240.0, 5.0, 0.7)
    height = nodes.math("MULTIPLY_ADD", grain, 0.16, waves)
    bump = nodes.bump(height, 0.007, 0.8)
    nodes.surface(shown, nodes.math("MULTIPLY_ADD", cover, -0.3, 0.92), bump)
    return nodes.material


def concrete(picture: PaintedPicture | None) -> Any:
    """Return board-marked concrete: plank joints, blow holes, stains."""
    nodes = Nodes("Mock-up concrete")
    place = nodes.place()
    split = nodes.add("ShaderNodeSeparateXYZ", {0: place})
    # Planks of 150 mm, laid flat.
    along = nodes.math("DIVIDE", split.outputs[2], 0.15)
    plank = nodes.math("FLOOR", along)
    near = nodes.math("ABSOLUTE", nodes.math("SUBTRACT", nodes.math("FRACT", along), 0.5))
    joint = nodes.ramp(near, 0.485, 0.5)
    each = nodes.add("ShaderNodeTexWhiteNoise", {"W": plank}, noise_dimensions="1D").outputs[0]
    grain_place = nodes.add(
        "ShaderNodeMapping", {"Vector": place, "Scale": (0.5, 1.0, 9.0)}
    ).outputs[0]
    grain = nodes.noise(grain_place, 26.0, 5.0, 0.6)
    stain = nodes.ramp(nodes.noise(place, 3.2, 7.0, 0.6), 0.3, 0.72)
    tone = nodes.math("MULTIPLY_ADD", each, 0.3, nodes.math("MULTIPLY", stain, 0.7))
    bare = nodes.mix(tone, shader_colour("#85837f"), shader_colour("#b6b3ad"))
    bare = nodes.mix(nodes.math("MULTIPLY", joint, 0.5), bare, shader_colour("#5d5b58"))
    holes = nodes.add(
        "ShaderNodeTexVoronoi", {"Vector": place, "Scale": 34.0, "Randomness": 1.0}
    ).outputs["Distance"]
    # Few of the cells have a hole.
    chosen = nodes.ramp(nodes.noise(place, 11.0, 2.0), 0.56, 0.62)
    hole = nodes.math(
        "MULTIPLY", nodes.math("SUBTRACT", 1.0, nodes.ramp(holes, 0.05, 0.13)), chosen
    )
    colour, cover = painted(nodes, place, bare, picture, ragged=0.0009)
    colour = nodes.mix(nodes.math("MULTIPLY", hole, 0.55), colour, shader_colour("#2e2d2b"))
    height = nodes.math("MULTIPLY_ADD", grain, 0.16, nodes.math("MULTIPLY", each, 0.35))
    height = nodes.math("SUBTRACT", height, nodes.math("MULTIPLY", joint, 0.5))
    height = nodes.math("SUBTRACT", height, hole)
    nodes.surface(colour, nodes.math("MULTIPLY_ADD", cover, -0.25, 0.85), nodes.bump(height, 0.004))
    return nodes.material


def board(picture: PaintedPicture | None) -> Any:
    """Return a board painted all over, brush marks along it."""
    nodes = Nodes("Mock-up board")
    place = nodes.place()
    colour, _ = painted(nodes, place, shader_colour("#8a6a45"), picture)
    stretched = nodes.add(
        "ShaderNodeMapping", {"Vector": place, "Scale": (0.06, 1.0, 1.0)}
    ).outputs[0]
    bump = nodes.bump(nodes.noise(stretched, 420.0, 3.0), 0.0003, 0.5)
    nodes.surface(colour, 0.42, bump)
    return nodes.material


def canvas(picture: PaintedPicture | None) -> Any:
    """Return primed linen: threads each way."""
    nodes = Nodes("Mock-up canvas")
    place = nodes.place()
    colour, _ = painted(nodes, place, shader_colour("#e9e3d3"), picture)
    split = nodes.add("ShaderNodeSeparateXYZ", {0: place})
    threads = []
    for way in (0, 2):
        # A thread each 0.9 mm.
        turn = nodes.math("MULTIPLY", split.outputs[way], 2 * np.pi / 0.0009)
        threads.append(nodes.math("SINE", turn))
    weave = nodes.math("MULTIPLY_ADD", nodes.math("MULTIPLY", *threads), 0.25, 0.5)
    slubs = nodes.noise(place, 120.0, 4.0)
    height = nodes.math("MULTIPLY_ADD", slubs, 0.8, weave)
    nodes.surface(colour, 0.8, nodes.bump(height, 0.0005, 0.8))
    return nodes.material


def plain(name: str, colour: str, roughness: float = 0.7, metallic: float = 0.0) -> Any:
    """Return a material of one colour.

    Parameters
    ----------
    name, colour : str
    roughness, metallic : float
        0 to 1.
    """
    nodes = Nodes(f"Mock-up {name}")
    nodes.surface(shader_colour(colour), roughness, **{"Metallic": metallic})
    return nodes.material


def textured(name: str, image: Any, roughness: float = 0.6) -> Any:
    """Return a material that shows an image by the mesh's own coordinates.

    Parameters
    ----------
    name : str
    image : Image
    roughness : float
        0 to 1.
    """
    nodes = Nodes(f"Mock-up {name}")
    at = nodes.add("ShaderNodeUVMap").outputs[0]
    texture = nodes.add("ShaderNodeTexImage", {0: at}, image=image)
    nodes.surface(texture.outputs["Color"], roughness)
    return nodes.material


def rigid_sheet(
    key: str, material: Material, colour: str, bounds: tuple[float, float, float, float]
) -> Any:
    """Return the raw sheet of a material, its face sprayed in the layer's colour.

    Parameters
    ----------
    key : str
        Of the material table.
    material : Material
    colour : str
        Of the layer.
    bounds : tuple of float
        Of the layer's openings in Blender units, in the sheet's own frame: paint falls there and a
        little round it.
    """
    nodes = Nodes(f"Mock-up sheet {colour}")
    place = nodes.add("ShaderNodeTexCoord").outputs["Object"]
    split = nodes.add("ShaderNodeSeparateXYZ", {0: place})
    x0, y0, x1, y1 = bounds
    bare: Any = shader_colour(material.colour)
    more: dict[str, Any] = {}
    rough = 0.55
    if "ply" in key or "mdf" in key or "wood" in key:
        grain_place = nodes.add(
            "ShaderNodeMapping", {"Vector": place, "Scale": (0.9, 14.0, 14.0)}
        ).outputs[0]
        rings = nodes.noise(grain_place, 12.0, 7.0, 0.65)
        dark = tuple(0.55 * c for c in bare[:3]) + (1.0,)
        bare = nodes.mix(nodes.ramp(rings, 0.42, 0.8), bare, dark)
    elif key in ("acrylic", "polyester", "petg"):
        more = {"IOR": 1.1}
        bare = tuple(min(1.0, 1.15 * c) for c in bare[:3]) + (1.0,)
        rough = 0.18
    past_x = nodes.math(
        "SUBTRACT",
        nodes.math("ABSOLUTE", nodes.math("SUBTRACT", split.outputs[0], (x0 + x1) / 2)),
        (x1 - x0) / 2,
    )
    past_y = nodes.math(
        "SUBTRACT",
        nodes.math("ABSOLUTE", nodes.math("SUBTRACT", split.outputs[1], (y0 + y1) / 2)),
        (y1 - y0) / 2,
    )
    past = nodes.math("MAXIMUM", past_x, past_y)
    reach = 0.35 * min(x1 - x0, y1 - y0, 0.06)
    cloud = nodes.math(
        "MULTIPLY", nodes.math("SUBTRACT", nodes.noise(place, 30.0, 4.0), 0.5), reach
    )
    past = nodes.math("ADD", past, cloud)
    mist = nodes.math("SUBTRACT", 1.0, nodes.ramp(past, -0.3 * reach, reach))
    # Walls of openings stay bare: paint falls on the face.
    facing = nodes.add("ShaderNodeNewGeometry").outputs["Normal"]
    turned = nodes.add(
        "ShaderNodeVectorTransform",
        {0: facing},
        vector_type="NORMAL",
        convert_from="WORLD",
        convert_to="OBJECT",
    ).outputs[0]
    up = nodes.add("ShaderNodeSeparateXYZ", {0: turned}).outputs[2]
    mist = nodes.math("MULTIPLY", mist, nodes.ramp(up, 0.2, 0.6))
    shown = nodes.mix(mist, bare, shader_colour(colour))
    rough_here = nodes.math("MULTIPLY_ADD", mist, 0.6 - rough, rough)
    node = nodes.surface(shown, rough_here, **more)
    if more:
        # Paint on film lets no light through. The input was renamed in Blender 4.0.
        clear = nodes.math("MULTIPLY", nodes.math("SUBTRACT", 1.0, mist), 0.8)
        known = node.inputs.keys()
        name = "Transmission Weight" if "Transmission Weight" in known else "Transmission"
        nodes.tree.links.new(clear, node.inputs[name])
    return nodes.material
