"""``--sheet-width-mm``: a job on sheets of another size, its file untouched."""

from __future__ import annotations

import json

from sheetstack.geometry.cli.main import main


def test_a_small_icon_is_built_on_a_sheet_of_a_stated_width(tmp_path, capsys):
    (tmp_path / "icon.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="24" height="24">'
        '<rect x="4" y="4" width="16" height="16"/></svg>'
    )
    job = tmp_path / "job.toml"
    job.write_text(
        'title = "t"\n[sheet]\nwidth_mm = 100\nheight_mm = 80\n'
        '[[layers]]\nname = "a"\ncolour = "#000000"\nartwork = "icon.svg"\n'
    )
    before = job.read_bytes()
    assert main(["build", str(job), "--sheet-width-mm", "340", "--quiet"]) == 0
    assert job.read_bytes() == before
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert '"width_mm": 340.0' in json.dumps(report)
    assert '"height_mm": 340.0' in json.dumps(report)
    assert main(["check", str(job), "--sheet-height-mm", "2"]) == 2
    assert "--sheet-height-mm 2: expected 5 to 20000 mm" in capsys.readouterr().err
