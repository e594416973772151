"""Settings of a tracing: the one description that command line and add-on share."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from ..errors import JobError
from ..job.fields import field
from ..job.new_sheets import NewSheets

MOST_LAYERS = 6
_CONTRAST = 0.8


@dataclass(frozen=True)
class TracingSettings(NewSheets):
    """How a picture becomes layers."""

    layers: int = field(3, about="number of layers", least=1, most=MOST_LAYERS)
    detail: float = field(
        0.5,
        about="how much is drawn: 0 a poster seen from afar, 1 all that can be cut",
        least=0,
        most=1,
    )
    face_detail: float | None = field(
        None,
        about="how much is drawn in faces and in the focus; as elsewhere when absent",
        least=0,
        most=1,
    )
    ground: str | None = field(
        None, about="colour of the wall; taken from the picture when absent", kind="colour"
    )
    cans: tuple[str, ...] = field(
        (),
        about="colours that you own, or a table of your cans (CSV, TOML); each layer takes the "
        "nearest",
        kind="colours",
    )
    thresholds: tuple[float, ...] = field(
        (),
        about="lightness, 0 to 100, of the cuts between tones; found from the picture when absent",
        kind="numbers",
    )
    highlights: int | None = field(
        None,
        about="how many layers are lighter than the wall; found from its colour when absent",
        least=0,
        most=MOST_LAYERS,
    )
    local_contrast: float = field(
        0.35,
        about="how much light and dark are told by their surroundings: lifts faces out of shade",
        least=0,
        most=1,
    )
    colour_contrast: float | None = field(
        None,
        about=(
            "how far colours taken from the picture are spread, darks darker and lights lighter: "
            "0 as they are, 1 towards near black and near white; when absent 0.8, and 0 for a "
            "face, whose likeness it costs"
        ),
        least=0,
        most=1,
    )
    tolerance_mm: float | None = field(
        None,
        about="how far fitted curves may stray from the outline; a share of the stroke when absent",
        least=0.01,
        most=10,
    )
    background: str = field(
        "auto",
        about=(
            "what is left to the wall: what lies round the subject where that is known (auto), "
            "nothing (keep), what looks like the border (flood), or what a mask marks"
        ),
        choices=("auto", "keep", "flood", "mask"),
    )
    background_mask: str = field("", about="picture that is white where the background is")
    flood_difference: float = field(
        12.0, about="CIEDE2000 difference to the border that still is background", least=0, most=100
    )
    focus: tuple[tuple[float, float, float, float], ...] = field(
        (),
        about="rectangles x, y, width, height in the picture's pixels, y down, that keep detail",
        kind="boxes",
    )
    focus_mask: str = field("", about="picture that is white where detail is kept")
    people: str = field(
        "auto",
        about="whether faces and people are looked for, by the optional extra 'faces'",
        choices=("auto", "no"),
    )
    marks: str = field(
        "", about="file of marks: faces and the subject's outline, found before or drawn by hand"
    )

    def contrast(self, likeness: bool) -> float:
        """Return how far colours are spread, with or without a likeness to keep."""
        if self.colour_contrast is None:
            return 0.0 if likeness else _CONTRAST
        return self.colour_contrast


def check_tracing(settings: TracingSettings, cuts: int) -> None:
    """Check what spans several settings; ``read_section`` has checked each by itself.

    Parameters
    ----------
    settings : TracingSettings
    cuts : int
        Number of cuts between tones that the layers need.

    Raises
    ------
    JobError
    """
    cut = settings.thresholds
    if cut and len(cut) != cuts:
        raise JobError(
            f"thresholds: expected {cuts} cuts for {settings.layers} layers here, found {len(cut)}."
        )
    if any(not 0 < c < 100 for c in cut) or any(b <= a for a, b in pairwise(cut)):
        raise JobError(
            f"thresholds = {', '.join(f'{c:g}' for c in cut)}: expected rising values between 0 "
            "and 100."
        )
    if settings.highlights is not None and settings.highlights > cuts:
        raise JobError(
            f"highlights = {settings.highlights}: expected at most {cuts} for {settings.layers} "
            "layers here."
        )
    if settings.background == "mask" and not settings.background_mask:
        raise JobError("background = 'mask': expected a background_mask picture too.")
