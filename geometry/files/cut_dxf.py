"""Cut paths of one sheet as DXF R2010 in millimetres, each kind of work on a layer of its own.

``CUT`` is cut through, in the file's order; ``ENGRAVE`` is engraved; ``MARK`` is drawn only.
Sheets are closed LWPOLYLINEs; a path with a run-in is an open one that ends where its loop began.
"""

from __future__ import annotations

import io
from pathlib import Path

import ezdxf
import ezdxf.units

from ..fabricate.cut_sheet import CutSheet
from .atomic import atomic

#: Layers with their colour of the AutoCAD colour index: red, green, white or black.
LAYERS = {"CUT": 1, "ENGRAVE": 3, "MARK": 7}


def cut_sheet_dxf(sheet: CutSheet, *, title: str = "") -> str:
    """Return a cut sheet as the text of a DXF file.

    Parameters
    ----------
    sheet : CutSheet
    title : str
        Stored as the drawing's custom property ``Title``.

    Returns
    -------
    str
        DXF R2010 (AC1024), ``$INSUNITS`` 4: one unit is one millimetre; y up.
    """
    document = ezdxf.new("R2010", units=ezdxf.units.MM)  # type: ignore[attr-defined]
    document.header["$MEASUREMENT"] = 1
    document.header["$EXTMIN"] = (-sheet.pad, -sheet.pad, 0)
    document.header["$EXTMAX"] = (sheet.size[0] + sheet.pad, sheet.size[1] + sheet.pad, 0)
    if title:
        document.header.custom_vars.append("Title", f"{title} - {sheet.name}")
    for name, colour in LAYERS.items():
        document.layers.add(name, color=colour)
    space = document.modelspace()
    for lines, layer in ((sheet.marked, "MARK"), (sheet.engraved, "ENGRAVE")):
        for line in lines:
            space.add_lwpolyline(line.tolist(), dxfattribs={"layer": layer})
    for path in sheet.cuts.all:
        points, closed = path.polyline()
        space.add_lwpolyline(points.tolist(), close=closed, dxfattribs={"layer": "CUT"})
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def write_cut_dxf(path: Path | str, sheet: CutSheet, *, title: str = "") -> None:
    """Write a cut sheet as a DXF file, whole or not at all.

    Raises
    ------
    WriteError
        The file cannot be written.
    """
    text = cut_sheet_dxf(sheet, title=title)
    with atomic(path, "w") as file:
        file.write(text)
