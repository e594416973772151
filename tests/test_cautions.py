"""The cautions cover what issue and trade ask for, and reach the work that they belong to."""

from pathlib import Path

import pytest

from sheetstack.geometry.cautions import WORKS, cautions_for, cautions_text


@pytest.mark.parametrize(
    ("work", "words"),
    [
        ("knife", ["blade", "Local codes", "data sheets", "licensed practice"]),
        ("laser", ["Never leave it alone", "PVC", "chlorine", "extraction", "data sheet"]),
        ("printer", ["fumes", "Dust"]),
        ("paint", ["respirator", "safety data sheet", "outside"]),
        ("wall", ["permission", "scaffold", "Dust"]),
    ],
)
def test_each_work_is_told_its_dangers(work, words):
    text = cautions_text(work)
    assert [w for w in words if w not in text] == []


def test_every_work_defers_to_local_rules_first():
    assert {cautions_for(work)[0].key for work in WORKS} == {"defer"}


def test_the_readme_has_a_line_for_every_danger():
    text = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    section = text.split("## Cautions")[1]
    words = ["Blades", "Laser", "never leave it alone", "PVC", "Dust", "Spray paint", "respirator"]
    words += ["Heights", "owner's permission", "Local codes", "data sheet", "licensed practice"]
    assert [w for w in words if w not in section] == []


def test_a_caution_of_two_works_stands_once():
    keys = [c.key for c in cautions_for("laser", "knife", "wall")]
    assert len(keys) == len(set(keys))


def test_an_unknown_work_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match=r"Unknown work saw; expected knife, laser"):
        cautions_for("saw")
