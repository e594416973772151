"""Materials and processes: each row is whole and sourced, and what must not be done is said."""

import dataclasses

import pytest

from sheetstack.geometry.finding import Severity
from sheetstack.geometry.job.load import job_text, parse_job
from sheetstack.geometry.job.materials import Material, load_materials
from sheetstack.geometry.job.processes import KINDS, load_processes, process_findings, process_of

JOB = """
title = "Leaf"
[sheet]
width_mm = 200
height_mm = 200
material = "{material}"
thickness_mm = 1
[process]
{process}
[[layers]]
name = "Mid"
colour = "#4f7f3a"
artwork = "leaf.svg"
[materials.own]
title = "{title}"
thicknesses_mm = [1]
density_g_cm3 = 1.3
modulus_mpa = 3000
strength_mpa = 40
least_bridge_mm = 1.5
least_opening_mm = 1
colour = "#ffffff"
source = "mine"
{more}
"""


def job_of(material="own", process="", title="My sheet", more=""):
    return parse_job(JOB.format(material=material, process=process, title=title, more=more))


def codes(job):
    findings = process_findings(job.made_by, job.sheet.material, job.material, job.bridge_width)
    return {f.code: f.severity for f in findings}


@pytest.mark.parametrize("key", sorted(load_materials()))
def test_every_material_says_its_source_care_and_what_a_laser_does(key):
    row = load_materials()[key]
    assert "common practice" in row.source or "from memory" in row.source
    assert row.care
    assert row.laser_note
    assert row.laser != "unknown"
    assert len(row.price_m2) == 2
    assert 0 < row.price_m2[0] <= row.price_m2[1]


def test_no_sheet_of_the_table_bears_chlorine():
    assert [k for k, m in load_materials().items() if m.bears_chlorine] == []


@pytest.mark.parametrize(
    "title",
    ["PVC foam board", "Rigid vinyl", "Polyvinyl chloride 1 mm", "UPVC", "Neoprene mat"],
)
def test_chlorine_bearing_sheet_under_a_laser_spoils_the_job(title):
    # Chlorine in PVC, PVDC and polychloroprene: chemistry, from memory.
    assert codes(job_of(title=title, process='kind = "laser"')) == {
        "material.never-under-laser": Severity.SPOILS
    }
    assert codes(job_of(title=title)) == {"material.chlorine": Severity.WARNING}


def test_a_sheet_of_which_nothing_is_known_is_told_before_a_laser():
    assert codes(job_of(process='kind = "laser"')) == {"material.laser-unknown": Severity.WARNING}
    assert codes(job_of(process='kind = "laser"', more='laser = "fit"')) == {}
    assert codes(job_of(process='kind = "laser"', more='laser = "never"')) == {
        "material.never-under-laser": Severity.SPOILS
    }


def test_a_material_alone_chooses_its_usual_process():
    assert [process_of(job_of(m).process, load_materials()[m]).kind for m in load_materials()] == [
        load_materials()[m].process for m in load_materials()
    ]


def test_the_jobs_own_values_override_the_table_and_survive_writing():
    job = job_of("birch-ply", "kerf_mm = 0.22\nbed_width_mm = 900")
    assert (job.made_by.kind, job.made_by.kerf_mm, job.made_by.bed_width_mm) == ("laser", 0.22, 900)
    assert job.made_by.bed_height_mm == load_processes()["laser"].bed_height_mm
    assert parse_job(job_text(job)) == dataclasses.replace(
        job,
        folder=parse_job("""
title = "x"
[sheet]
width_mm = 100
height_mm = 100
[[layers]]
name = "a"
colour = "#000000"
artwork = "a.svg"
""").folder,
    )


def test_bridges_default_to_the_least_width_of_the_process():
    assert job_of("card").bridge_width == load_materials()["card"].least_bridge_mm
    assert job_of("card", 'kind = "laser"').bridge_width == 1.5
    assert job_of("birch-ply", 'kind = "knife"').bridge_width == 5.0


def test_a_strip_of_less_than_two_lines_of_the_nozzle_is_told():
    job = job_of("pla", "nozzle_mm = 1.0")
    assert codes(job) == {"process.nozzle-too-wide": Severity.WARNING}


def test_grammage_gives_the_mass_of_iso_536():
    # ISO 536: mass = area x grammage; A4 (ISO 216) at 80 g/m2 weighs 4.9896 g.
    paper = dataclasses.replace(load_materials()["card"], density_g_cm3=0.8)
    assert paper.grammage_g_m2(0.1) == pytest.approx(80.0)
    area_m2 = 0.210 * 0.297
    assert area_m2 * paper.grammage_g_m2(0.1) == pytest.approx(4.9896, rel=1e-12)
    assert paper.mass_g(210 * 297 * 0.1) == pytest.approx(4.9896, rel=1e-12)
    # Stencil card near 320 g/m2: common practice, no source.
    assert load_materials()["card"].grammage_g_m2(0.4) == pytest.approx(320.0)


def test_every_process_is_whole():
    assert tuple(load_processes()) == KINDS
    for row in load_processes().values():
        assert "common practice" in row.source or "from memory" in row.source
    assert isinstance(load_materials()["card"], Material)
