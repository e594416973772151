"""A drawing in flat colours, without groups, becomes layers: one for each colour that is seen."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, IntProperty, StringProperty

from ...geometry.artwork.parts import read_parts
from ...geometry.finding import Finding, Severity
from ...geometry.job.job import Job
from ...geometry.job.materials import load_materials
from ...geometry.progress import Progress
from ...geometry.separation.job import separated_drawing, separated_job
from ...geometry.separation.separate import PICTURES, read_and_separate
from ...geometry.separation.settings import MOST_CANS, USUAL_CANS, SeparationSettings
from ..core.long_work import THROUGHOUT, LongWork, Work, may_begin
from ..core.ownership import key_of, own, scene_of
from ..core.preferences import preference, show_units
from ..core.setting_property import put_values
from .artwork_from_objects import free_file
from .job_property import FORMAT, job_changed
from .layer_list import free_name
from .material_preset import materials_of, set_material
from .scene_job import being_filled, folder_of

#: Drawings smaller all round than this (mm), such as icons, are enlarged to a usual sheet.
LEAST_PAGE = 50.0
#: So many findings are told one by one.
_MOST_TOLD = 3


def most_colours() -> Any:
    """Return the property for how many cans a drawing's colours are gathered to."""
    return IntProperty(
        name="Most colours",
        description="Most cans of paint, to which the colours are gathered; 0 for as many as the "
        f"drawing has, up to {USUAL_CANS}",
        min=0,
        max=MOST_CANS,
    )


class SHEETSTACK_OT_separate_drawing(LongWork, bpy.types.Operator):
    """Make a layer of each colour that is seen in an SVG drawing, or in a picture with few flat \
colours, in the spray order that needs the fewest bridges"""

    bl_idname = "sheetstack.separate_drawing"
    bl_label = "Separate Drawing by Colours"
    bl_options = {"REGISTER", "UNDO"}
    harmless_until = THROUGHOUT

    filepath: StringProperty(
        name="Drawing",
        description="The SVG file, or a picture with few flat colours",
        subtype="FILE_PATH",
        options={"SKIP_SAVE"},
    )
    colours: most_colours()
    build: BoolProperty(
        name="Build sheets",
        description="Build the sheets as soon as the drawing is separated",
        default=True,
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        return may_begin(cls)

    def work(self, context: Any) -> Work:
        path = Path(bpy.path.abspath(self.filepath))
        self._scene = key_of(context.scene)
        wanted = preference("material")
        settings = SeparationSettings(
            layers=self.colours or None,
            material=wanted if wanted in load_materials() else "card",
        )
        has_layers = bool(context.scene.sheetstack.layers)
        margin = 2 * settings.margin_mm

        def separate(progress: Progress) -> tuple[Job, str, tuple[Finding, ...]]:
            sized = settings
            if path.suffix.lower() not in PICTURES:  # pixels have no size of their own
                page = read_parts(path).page
                if has_layers or max(page) >= LEAST_PAGE:  # at its own size
                    sized = replace(settings, sheet_width_mm=page[0] + margin)
            found = read_and_separate(path, sized, progress)
            drawing = separated_drawing(found, path.stem)
            return separated_job(found, path.stem), drawing, found.findings

        return separate

    def done(self, context: Any, result: Any) -> set[str]:
        scene = scene_of(self._scene)
        if scene is None:
            self.report({"WARNING"}, "The scene was removed while its drawing was separated.")
            return {"CANCELLED"}
        job, drawing, findings = result
        path = Path(bpy.path.abspath(self.filepath))
        put_separated(scene, path, job, drawing)
        self.report({"INFO"}, f"{path.name}: {len(job.layers)} layers, one for each colour.")
        told = [f for f in findings if f.severity is not Severity.NOTE]
        for finding in told[:_MOST_TOLD]:
            self.report({"WARNING"}, f"{path.name}: {finding.sentence()}")
        if len(told) > _MOST_TOLD:
            self.report(
                {"WARNING"}, f"{path.name}: {len(told) - _MOST_TOLD} more places to look at."
            )
        if self.build:
            bpy.ops.sheetstack.build("INVOKE_DEFAULT")
        return {"FINISHED"}


def put_separated(scene: bpy.types.Scene, path: Path, job: Job, drawing: str) -> None:
    """Add the layers of a separated drawing to a scene; the layered drawing is kept in the .blend.

    Parameters
    ----------
    scene : bpy.types.Scene
    path : Path
        The drawing that was separated.
    job : Job
        Of its layers.
    drawing : str
        Text of the layered SVG.
    """
    state = scene.sheetstack
    is_new = not state.layers
    with being_filled(state):
        state.format = state.format or FORMAT
        if is_new:
            state.title, state.folder = job.title, str(path.parent.absolute())
            if job.sheet.material in materials_of(scene):
                set_material(scene, job.sheet.material)
            show_units(scene)
            state.sheet.width_mm, state.sheet.height_mm = job.sheet.width_mm, job.sheet.height_mm
            put_values(state.registration, job.registration)
        name = free_file(folder_of(scene), f"{path.stem}-layers")
        kept = own(bpy.data.texts.new(name))
        kept.from_string(drawing)
        first = len(state.layers)
        for layer in job.layers:
            free = free_name(state, layer.name)
            row = state.layers.add()
            put_values(row, layer)
            row.name, row.artwork, row.kept = free, name, kept
        state.active_layer = first
    job_changed(state, None)


CLASSES = (SHEETSTACK_OT_separate_drawing,)
