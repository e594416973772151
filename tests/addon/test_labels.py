"""Labels of settings: whole in a sidebar of the width that Blender gives it."""

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

import blf  # noqa: E402

from sheetstack.addon.core.panels import DRAWN, SECTION_PANELS  # noqa: E402
from sheetstack.geometry.job.sections import SECTIONS, LayerSettings  # noqa: E402
from sheetstack.geometry.tracing.settings import TracingSettings  # noqa: E402

#: Pixels of Blender's own font at 11 points. Measured in Blender 3.4's first sidebar, 220 pixels
#: wide: the label 'Rib spacing' (62) is whole, 'Layer height' (65) is cut.
ROOM = 63


@pytest.mark.parametrize(
    "section", [*SECTIONS.values(), LayerSettings, TracingSettings], ids=lambda s: s.__name__
)
def test_labels_have_room(blender, section):
    from sheetstack.addon.core.setting_property import fields_of

    group = section.__name__
    blf.size(0, 11)
    for field, hint in fields_of(section):
        if hint is bool:
            continue  # its label stands right of the check box, where there is more room
        properties = _group(section).bl_rna.properties
        width = blf.dimensions(0, properties[field.name].name)[0]
        assert 0 < width <= ROOM, (group, field.name, properties[field.name].name, width)


def _group(section):
    from sheetstack.addon.job import job_property
    from sheetstack.addon.tracing import tracing

    if section is LayerSettings:
        return job_property.SHEETSTACK_PG_layer
    if section is TracingSettings:
        return tracing.SHEETSTACK_PG_tracing
    key = next(key for key, value in SECTIONS.items() if value is section)
    return job_property.SECTION_GROUPS[key]


def test_each_section_is_drawn_once(blender):
    drawn = {panel.__name__.split("_PT_")[1].removesuffix("_settings") for panel in SECTION_PANELS}
    assert drawn | DRAWN == set(SECTIONS)
    assert not drawn & DRAWN
