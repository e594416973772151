"""Every tolerance of the geometry, each with its reason. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass

#: Programs that read solids merge corners that are nearer than this, in mm: a tenth of a micrometre
#: (common practice, no source; Blender's Merge by Distance begins there). A solid as written is
#: judged with and without that.
MERGE = 1e-4


@dataclass(frozen=True)
class Tolerances:
    """Lengths below which two things count as the same.

    Parameters
    ----------
    chord : float
        Largest distance between a curve and the chord that stands for it. 0.05 mm is finer than
        a knife or a laser beam is wide.
    join : float
        Ends of open paths this near are joined: drawing programs round to about 0.01 mm.
    same_point : float
        Consecutive points this near are one point.
    least_area : float
        Rings under this area (mm2) are specks that no tool can cut.
    pinch : float
        Half the width of the slit that parts sheet where it touches itself at a point only.
    wall : float
        Sheet thinner than this between two openings is none: a knife or a laser beam is wider, and
        programs that read solids weld points that are nearer than a few hundredths.
    """

    chord: float = 0.05
    join: float = 0.02
    same_point: float = 1e-6
    least_area: float = 1e-3
    pinch: float = 0.025
    wall: float = 0.05

    @property
    def grid(self) -> float:
        """Grid that crossings are rounded to: ten times finer than ``same_point``.

        Far below any tool, far above the rounding of a float at the far end of a sheet. Snap
        rounding (Hobby 1999) is safe for any input. Without a grid GEOS (3.14, by Shapely 2.2) was
        seen to lose a whole triangle from the union of five nearly collinear polygons.
        """
        return self.same_point / 10


TOLERANCES = Tolerances()

#: What a length, area or sum is raised to before something is divided by it, so that nothing over
#: nothing is 0 and not NaN. Far under all that is measured: mm, pixels, shares.
NOT_ZERO = 1e-12

#: Rounding of floats that must not turn a whole number of parts, or a limit that is just met,
#: into one more or a miss. For quotients and lengths of a sheet's size, in mm or of 1.
ROUNDING = 1e-9
