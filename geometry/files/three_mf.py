"""3MF, the package of 3D printers: meshes in millimetres with names and colours.

After the 3MF Core Specification, version 1.3: an OPC package (a ZIP archive) of a content-types
part, a relationships part and one model part in XML. Each mesh is an object with a base material
that carries the layer's colour; the build lists where every object lies.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np

from ..errors import GeometryError
from ..mesh.check import as_written
from ..mesh.solid import Mesh
from .atomic import atomic

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_CONTENT_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
_RELATIONSHIPS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)
#: The same archive for the same job: members carry the earliest time that ZIP knows.
_TIME = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True)
class PrintedPart:
    """One mesh of a 3MF file.

    Parameters
    ----------
    name : str
    colour : str
        Like ``"#a0522d"``.
    mesh : Mesh
        Closed, in mm.
    at : tuple of float
        Where its origin lies on the bed, x, y, z in mm.
    """

    name: str
    colour: str
    mesh: Mesh
    at: tuple[float, float, float] = (0.0, 0.0, 0.0)


def three_mf_bytes(parts: Sequence[PrintedPart], *, title: str = "") -> bytes:
    """Return meshes as the bytes of a 3MF file.

    Coordinates are 32-bit floats, the same numbers as an STL file of the mesh has; corners that are
    equal so are one vertex (see ``mesh.check.as_written``). Vertices that no face uses are left
    out.

    Parameters
    ----------
    parts : sequence of PrintedPart
        At least one; the specification wants a build with something in it.
    title : str

    Raises
    ------
    GeometryError
        No part, a part without faces, or a coordinate that is not finite.
    """
    if not parts:
        raise GeometryError("3MF: expected at least one part, found none.")
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED, compresslevel=5) as package:
        for name, text in (
            ("[Content_Types].xml", _CONTENT_TYPES),
            ("_rels/.rels", _RELATIONSHIPS),
            ("3D/3dmodel.model", _model(parts, title)),
        ):
            member = zipfile.ZipInfo(name, _TIME)
            member.compress_type = zipfile.ZIP_DEFLATED
            package.writestr(member, text.encode("utf-8"))
    return archive.getvalue()


def write_three_mf(path: Path | str, parts: Sequence[PrintedPart], *, title: str = "") -> None:
    """Write meshes as one 3MF file, whole or not at all.

    Parameters
    ----------
    path : Path or str
    parts : sequence of PrintedPart
    title : str
        Of the job.

    Raises
    ------
    GeometryError
        See :func:`three_mf_bytes`.
    WriteError
        The file cannot be written.
    """
    content = three_mf_bytes(parts, title=title)
    with atomic(path) as file:
        file.write(content)


def _model(parts: Sequence[PrintedPart], title: str) -> str:
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<model unit="millimeter" xml:lang="en-GB" xmlns="{CORE}">',
    ]
    if title:
        lines.append(f'<metadata name="Title">{_escaped(title)}</metadata>')
    lines += ['<metadata name="Application">Sheetstack</metadata>', "<resources>"]
    lines.append('<basematerials id="1">')
    lines += [
        f"<base name={_attribute(part.name)} displaycolor={_attribute(part.colour.upper())}/>"
        for part in parts
    ]
    lines.append("</basematerials>")
    for number, part in enumerate(parts):
        lines.append(
            f'<object id="{number + 2}" type="model" name={_attribute(part.name)} pid="1" '
            f'pindex="{number}"><mesh>'
        )
        lines += _mesh_lines(part)
        lines.append("</mesh></object>")
    lines += ["</resources>", "<build>"]
    for number, part in enumerate(parts):
        x, y, z = part.at
        lines.append(
            f'<item objectid="{number + 2}" transform="1 0 0 0 1 0 0 0 1 {x:.6f} {y:.6f} {z:.6f}"/>'
        )
    lines += ["</build>", "</model>", ""]
    return "\n".join(lines)


def _mesh_lines(part: PrintedPart) -> list[str]:
    if len(part.mesh.faces) == 0:
        raise GeometryError(f"3MF: '{part.name}' has no faces.")
    try:
        mesh = as_written(part.mesh)
    except GeometryError as error:
        raise GeometryError(f"3MF: '{part.name}': {error}") from error
    used, faces = np.unique(mesh.faces, return_inverse=True)
    points = mesh.vertices[used].ravel().tolist()
    corners = faces.reshape(-1).tolist()
    # One format string for all rows: several times faster than a loop. Nine digits tell every
    # 32-bit float from the next (IEEE 754, section 5.12.2).
    vertex = '<vertex x="%.9g" y="%.9g" z="%.9g"/>\n' * len(used)
    triangle = '<triangle v1="%d" v2="%d" v3="%d"/>\n' * (len(corners) // 3)
    return [
        "<vertices>",
        (vertex % tuple(points)).rstrip("\n"),
        "</vertices>",
        "<triangles>",
        (triangle % tuple(corners)).rstrip("\n"),
        "</triangles>",
    ]


def _allowed(text: str) -> str:
    # XML 1.0, 2.2: no control characters but tab and line ends, not even escaped.
    return re.sub(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]", "", text)


def _attribute(text: str) -> str:
    return quoteattr(_allowed(text))


def _escaped(text: str) -> str:
    return _allowed(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
