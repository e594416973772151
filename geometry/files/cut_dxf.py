"""Cut paths of one sheet as DXF R2010 in millimetres, each kind of work on a layer of its own.

``CUT`` is cut through, in the file's order; ``ENGRAVE`` is engraved; ``MARK`` is drawn only.
Sheets are closed LWPOLYLINEs; a path with a run-in is an open one that ends where its loop began.
The same sheet gives the same bytes: no time of writing, identifiers made from the content.
"""

from __future__ import annotations

import io
import re
import uuid
from collections import OrderedDict
from typing import TYPE_CHECKING

from ..fabricate.cut_sheet import CutSheet

if TYPE_CHECKING:
    from ezdxf.document import Drawing

#: Layers with their colour of the AutoCAD colour index: red, green, white or black.
LAYERS = {"CUT": 1, "ENGRAVE": 3, "MARK": 7}
#: Header variables that say when a file was written, and what they say here: the year 2000.
_TIMES = ("$TDCREATE", "$TDUCREATE", "$TDUPDATE", "$TDUUPDATE")
_DATE = "2451544.5"
#: Header variables that name a file and its version.
_NAMES = ("$FINGERPRINTGUID", "$VERSIONGUID")


def cut_dxf(sheet: CutSheet, *, title: str = "") -> str:
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
    # Here, not at the top: most runs of the command line write no DXF, and it takes long to load.
    from ..ezdxf_library import ezdxf

    document = ezdxf.new("R2010", units=ezdxf.units.MM)  # type: ignore[attr-defined]
    document.header["$MEASUREMENT"] = 1
    _add_classes_in_order(document)
    document.header["$EXTMIN"] = (-sheet.pad, -sheet.pad, 0)
    document.header["$EXTMAX"] = (sheet.size[0] + sheet.pad, sheet.size[1] + sheet.pad, 0)
    if title:
        document.header.custom_vars.append("Title", _one_line(f"{title} - {sheet.name}"))
    for name, colour in LAYERS.items():
        document.layers.add(name, color=colour)
    space = document.modelspace()
    for stroke in sheet.strokes:
        layer = {"engrave": "ENGRAVE", "mark": "MARK"}.get(stroke.work, "CUT")
        points = stroke.points.tolist()
        space.add_lwpolyline(points, close=stroke.closed, dxfattribs={"layer": layer})
    stream = io.StringIO()
    document.write(stream)
    return _without_time(stream.getvalue())


def _add_classes_in_order(document: Drawing) -> None:
    """Add the classes that a file must declare by their names: ezdxf adds them in a set's order."""
    classes = document.classes
    classes.add_required_classes(document.dxfversion)
    classes.classes = OrderedDict(sorted(classes.classes.items()))


def _one_line(text: str) -> str:
    """Return a text as one line: DXF is read line by line, so that a break would be a new tag."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _without_time(text: str) -> str:
    """Return the file's text without what differs from one writing to the next."""
    # ezdxf's own marks: its version and the time.
    text = re.sub(r"(\d+\.\d+[\w.]*) @ [-+\d:.T]+", r"\1", text)
    for name in _TIMES:
        text = _with_variable(text, name, _DATE)
    for name in _NAMES:
        text = _with_variable(text, name, "")
    made = uuid.uuid5(uuid.NAMESPACE_OID, text)
    for name in _NAMES:
        text = _with_variable(text, name, f"{{{str(made).upper()}}}")
    return text


def _with_variable(text: str, name: str, value: str) -> str:
    """Return the text with another value of a header variable: name, group code, value."""
    return re.sub(rf"({re.escape(name)}\n *\d+\n)[^\n]*", rf"\g<1>{value}", text, count=1)
