"""Labels of settings: whole in a sidebar of the width that Blender gives it."""

import pytest

bpy = pytest.importorskip("bpy", reason="Blender's Python module is not installed")

import blf  # noqa: E402

from sheetstack.geometry.job.materials import Material  # noqa: E402
from sheetstack.geometry.job.sections import SECTIONS, LayerSettings  # noqa: E402
from sheetstack.geometry.tracing.settings import TracingSettings  # noqa: E402

#: Pixels of Blender's own font at 11 points. Measured in Blender 3.4's first sidebar, 220 pixels
#: wide: beside a field the label 'Rib spacing' (62) is whole, 'Layer height' (65) is cut.
ROOM = 63
#: What is left above a field, beside the check box of an optional one or the button of a list.
ROOM_ABOVE = 150


@pytest.mark.parametrize(
    "section",
    [*SECTIONS.values(), LayerSettings, TracingSettings, Material],
    ids=lambda s: s.__name__,
)
def test_labels_have_room(blender, section):
    from sheetstack.addon.core.setting_property import LISTS, LONGEST_BESIDE, fields_of

    group = section.__name__
    blf.size(0, 11)
    for field, hint in fields_of(section):
        label = _group(section).bl_rna.properties[field.name].name
        above = len(label) > LONGEST_BESIDE or hint is bool or field.metadata["kind"] in LISTS
        width = blf.dimensions(0, label)[0]
        assert 0 < width <= (ROOM_ABOVE if above else ROOM), (group, field.name, label, width)


def _group(section):
    from sheetstack.addon import scene_property
    from sheetstack.addon.job import job_property
    from sheetstack.addon.tracing import tracing_property

    if section is LayerSettings:
        return scene_property.SHEETSTACK_PG_layer
    if section is Material:
        return job_property.SHEETSTACK_PG_material
    if section is TracingSettings:
        return tracing_property.SHEETSTACK_PG_tracing
    key = next(key for key, value in SECTIONS.items() if value is section)
    return job_property.SECTION_GROUPS[key]


#: Sections that a panel draws beside other things.
DRAWN_AMONG_OTHERS = {"sheet", "registration", "mockup"}


def test_each_section_is_drawn_once(blender):
    """A panel of its own for each, but those that stand in the panel of their work."""
    from sheetstack import addon

    names = [cls.__name__ for module in addon.modules() for cls in module.CLASSES]
    own = [key for key in SECTIONS if f"SHEETSTACK_PT_{key}_settings" in names]
    assert len(names) == len(set(names))
    assert set(own) | DRAWN_AMONG_OTHERS == set(SECTIONS)
    assert not set(own) & DRAWN_AMONG_OTHERS
