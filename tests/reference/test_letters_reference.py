"""Letters: openings and islands of glyph outlines against what everybody can count in the letter.

Outlines: DejaVu Sans and DejaVu Sans Mono, which matplotlib's package carries.
"""

from __future__ import annotations

from pathlib import Path

import matplotlib
import pytest
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from sheetstack.geometry.artwork.fill.contour import Contour
from sheetstack.geometry.artwork.fill.fill import fill
from sheetstack.geometry.job.sections import SheetSettings
from sheetstack.geometry.mesh.islands import find_pieces
from sheetstack.geometry.mesh.solid import extrude
from sheetstack.geometry.sheet.sheet import PlacedArtwork, make_sheet
from sheetstack.geometry.support.bridges import hold_islands

FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
SETTINGS = SheetSettings(width_mm=200, height_mm=200, margin_mm=10, thickness_mm=0.4)

#: Islands of each letter; a letter not named has none.
COUNTERS = dict.fromkeys("ADOPQRabdegopq0469", 1) | {"B": 2, "8": 2, "%": 2}
OPENINGS = {"i": 2, "j": 2, "%": 3}
EVERY = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789%"


def letter_sheet(letter: str, font: str):
    path = TextPath((0, 0), letter, size=120, prop=FontProperties(fname=str(FONTS / font)))
    contours = [Contour(points) for points in path.to_polygons()]
    shape = shapely.affinity.translate(fill(contours, "nonzero").shape, 40, 50)
    sheet, _ = make_sheet(PlacedArtwork(letter, shape, ()), SETTINGS, shapely.MultiPolygon())
    return sheet


@pytest.mark.parametrize("letter", EVERY)
def test_a_letter_has_its_counters_as_islands(letter):
    sheet = letter_sheet(letter, "DejaVuSans.ttf")
    assert len(sheet.openings.geoms) == OPENINGS.get(letter, 1)
    assert len(find_pieces(extrude(sheet.shape, 0.4)).islands) == COUNTERS.get(letter, 0)


def test_the_dotted_zero_of_the_mono_font_has_an_opening_in_its_island():
    sheet = letter_sheet("0", "DejaVuSansMono.ttf")
    assert len(sheet.openings.geoms) == 2
    assert len(find_pieces(extrude(sheet.shape, 0.4)).islands) == 1


@pytest.mark.parametrize("letter", "ABR8%")
def test_bridged_letters_hold(letter):
    sheet = letter_sheet(letter, "DejaVuSans.ttf")
    held = hold_islands(sheet, 2.0).sheet
    assert find_pieces(extrude(held.shape, 0.4)).islands == ()
    assert len(held.shape.geoms) == 1
