"""The command proof: what it writes and says."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from sheetstack.geometry.cli.main import main
from sheetstack.geometry.cli.proof import write_proof
from sheetstack.geometry.files.batch import output_batch

from ..demo_builds import demo


@pytest.fixture(scope="module")
def proof(tmp_path_factory):
    folder = tmp_path_factory.mktemp("proof")
    with output_batch(folder, kind="proof") as batch:
        text = write_proof(demo("sign"), batch)
    return folder, text


def test_each_pass_adds_one_colour(proof):
    folder, _ = proof
    names = ["before", "after-1-cream", "after-2-shade", "after-3-gold"]
    pictures = [np.asarray(Image.open(folder / f"{name}.png")) for name in names]
    colours = ["17403a", "f6e7c8", "c9502f", "f3b33d"]
    for number, picture in enumerate(pictures):
        for k, colour in enumerate(colours):
            shown = (picture == np.frombuffer(bytes.fromhex(colour), np.uint8)).all(axis=2).any()
            assert shown == (k <= number)


def test_the_text_names_orders_margins_and_soft_edges(proof):
    folder, text = proof
    assert (folder / "proof.txt").read_text(encoding="utf-8") == text
    assert "any order paints the same picture" in text
    assert "Gold on Shade, either way" in text
    assert "colours run together" in text
    assert "paint creeps 0.08 mm under it" in text  # 0.3 mm x tan 15 degrees
    assert {p.name for p in folder.iterdir()} >= {
        "orders.png",
        "drift.png",
        "soft.png",
        "worst.png",
    }


def test_a_job_that_is_not_there_is_one_sentence(capsys, tmp_path):
    assert main(["proof", str(tmp_path / "none.toml")]) == 2
    said = capsys.readouterr().err
    assert "none.toml" in said
    assert "Traceback" not in said
    assert list(tmp_path.iterdir()) == []


def test_help_names_what_is_written(capsys):
    with pytest.raises(SystemExit):
        main(["proof", "--help"])
    assert "orders.png" in capsys.readouterr().out
