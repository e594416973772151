from __future__ import annotations

import dataclasses

from sheetstack.geometry.cli.main import main
from sheetstack.geometry.job.sections import SECTIONS, LayerSettings


def test_every_key_is_listed_with_its_meaning(capsys):
    assert main(["keys"]) == 0
    told = capsys.readouterr().out
    for name, section in SECTIONS.items():
        assert f"[{name}]" in told
        for field in dataclasses.fields(section):
            assert field.name in told
    for field in dataclasses.fields(LayerSettings):
        assert field.name in told
        assert field.metadata["about"].split()[0] in told
