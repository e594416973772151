"""DXF drawings by layer: later layers lie over earlier ones, in the colours of their layers."""

from __future__ import annotations

import ezdxf
import pytest

from sheetstack.geometry.cli.main import main
from sheetstack.geometry.separation.separate import read_and_separate
from sheetstack.geometry.separation.settings import SeparationSettings


@pytest.fixture
def sign(tmp_path):
    drawing = ezdxf.new(units=ezdxf.units.MM)
    # Colour 1 of the AutoCAD Colour Index is red (DXF reference, "Common group codes", 62).
    drawing.layers.add("Board", color=1)
    drawing.layers.add("Ring", true_color=ezdxf.rgb2int((20, 60, 120)))
    drawing.layers.add("Notes", color=3).off()
    space = drawing.modelspace()
    # Not a whole rectangle, which would be taken for the wall.
    corners = [(100, 50), (140, 50), (140, 66), (136, 70), (100, 70)]
    space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "Board"})
    space.add_circle((120, 60), 8, dxfattribs={"layer": "Ring"})
    space.add_circle((120, 60), 4, dxfattribs={"layer": "Ring"})
    space.add_circle((0, 0), 5, dxfattribs={"layer": "Notes"})
    path = tmp_path / "sign.dxf"
    drawing.saveas(path)
    return path


def test_each_layer_gives_its_colour_and_hides_what_is_below(sign):
    found = read_and_separate(sign, SeparationSettings(sheet_width_mm=440))
    assert found.page == pytest.approx((400, 200))  # hidden layers count for nothing
    seen = {"#ff0000": 0.0, "#143c78": 0.0}
    for layer in found.layers:
        seen[layer.colour] += layer.seen.area
    board = 400 * 200 - 40 * 40 / 2
    ring = 3.14159265 * (80**2 - 40**2)
    assert seen == pytest.approx({"#ff0000": board - ring, "#143c78": ring}, rel=2e-3)
    # The board runs under the ring, whose middle is sprayed in a second pass.
    assert [layer.colour for layer in found.layers] == ["#ff0000", "#143c78", "#ff0000"]
    assert [layer.name for layer in found.layers] == ["Board", "Ring", "Board 2"]
    assert found.plan.islands == 0
    assert found.layers[0].shape.area == pytest.approx(board)


def test_the_command_takes_it(sign, capsys):
    assert main(["layers", str(sign), "--sheet-width-mm", "440"]) == 0
    assert "3 sheets in this order" in capsys.readouterr().out
    assert main(["check", str(sign.parent / "sign-layers" / "job.toml"), "--quiet"]) == 0
