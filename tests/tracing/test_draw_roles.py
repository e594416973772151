import numpy as np
import pytest
import shapely
from shapely import MultiPolygon

from sheetstack.geometry.planar.morphology import close_shape, open_shape
from sheetstack.geometry.progress import Progress
from sheetstack.geometry.tracing.draw_roles import BLOCKY, CLEAN, FINE, Board, draw, plan_roles
from sheetstack.geometry.tracing.pixel_shapes import (
    outline,
    smoothed,
    without_slivers,
    without_specks,
)

TRAP, LEAST, BRIDGE, PIXEL, STROKE = 1.0, 1.0, 2.0, 0.5, 2.4


def board(tone, subject=None, focus=None):
    tone = np.asarray(tone, np.float32)
    everywhere = np.ones(tone.shape, bool)
    return Board(
        tone,
        everywhere if subject is None else subject,
        ~everywhere if focus is None else focus,
        PIXEL,
        STROKE,
        LEAST,
        BRIDGE,
        TRAP,
    )


def rings(rows=320, columns=400):
    """A dark disc in a middle-dark ring on a lightish ground, and a light disc beside it."""
    y, x = np.mgrid[:rows, :columns]
    tone = np.full((rows, columns), 60.0)
    far = np.hypot(x - 140, y - 160)
    tone[far < 110] = 40
    tone[far < 60] = 10
    tone[np.hypot(x - 330, y - 160) < 40] = 90
    return tone


def worn_parts(shape, width):
    """How many parts of a shape vanish when it is worn back by just under half a width."""
    worn = shapely.buffer(shapely.get_parts(shape), -0.45 * width)
    return int(shapely.is_empty(worn).sum())


def test_roles_come_in_spray_order():
    names = [(r.name, r.role) for r in plan_roles(2, 1, False)]
    assert names == [("Mid-tone", "mid-tone"), ("Shadow", "shadow"), ("Highlight", "highlight")]
    for darks in range(7):
        for lights in range(7 - darks):
            for base in (False, True):
                roles = plan_roles(darks, lights, base)
                assert len(roles) == darks + lights + base
                assert len({r.name for r in roles}) == len(roles)
                dark = [r.cut for r in roles if r.side == "dark"]
                light = [r.cut for r in roles if r.side == "light"]
                assert dark == sorted(dark, reverse=True)
                assert light == sorted(light)
                assert sorted(dark + light) == list(range(darks + lights))


def test_hands_differ_as_they_should():
    assert BLOCKY.speck > CLEAN.speck > FINE.speck
    assert BLOCKY.melt > CLEAN.melt > FINE.melt


def test_each_tone_is_drawn_where_it_is():
    mid, shadow, highlight = draw(board(rings()), plan_roles(2, 1, False), [25, 50, 75], Progress())
    disc = np.pi * (PIXEL * np.array([110, 60, 40])) ** 2
    assert mid.area == pytest.approx(disc[0], rel=0.03)
    assert shadow.area == pytest.approx(disc[1], rel=0.03)
    assert highlight.area == pytest.approx(disc[2], rel=0.05)


def test_the_mid_tone_runs_under_the_shadow_whole():
    mid, shadow, _ = draw(board(rings()), plan_roles(2, 1, False), [25, 50, 75], Progress())
    assert mid.buffer(1e-3).covers(shadow)
    assert mid.boundary.distance(shadow.boundary) >= TRAP


def test_where_both_end_the_mid_tone_is_drawn_back_by_the_trap():
    # A half disc, dark on its left half and mid-tone on its right one, on a light ground.
    y, x = np.mgrid[:320, :400]
    tone = np.full((320, 400), 80.0)
    inside = np.hypot(x - 200, y - 160) < 120
    tone[inside] = 40
    tone[inside & (x < 200)] = 10
    mid, shadow = draw(board(tone), plan_roles(2, 0, False), [25, 60], Progress())
    left = shapely.box(0, 0, 85, 160)  # well left of where the two meet
    hidden = mid.intersection(left)
    assert not hidden.is_empty
    # A drift of just under the trap shows no rim of mid-tone round the shadow.
    assert shadow.covers(hidden.buffer(0.85 * TRAP).intersection(left))
    # And where the mid-tone goes on, it lies under the shadow's edge by the trap.
    edge = shapely.LineString([(100 - 0.9 * TRAP, 50), (100 - 0.9 * TRAP, 110)])
    assert mid.covers(edge)


def noisy_board(seed=2):
    random = np.random.default_rng(seed)
    from scipy.ndimage import gaussian_filter

    tone = 50 + 220 * gaussian_filter(random.normal(0, 1, (300, 380)), 6)
    tone += random.normal(0, 4, tone.shape)
    return np.clip(tone, 0, 100)


def test_nothing_is_narrower_than_can_be_cut():
    shapes = draw(board(noisy_board()), plan_roles(2, 1, False), [35, 50, 65], Progress())
    for shape in shapes:
        assert shape.is_valid
        assert worn_parts(shape, LEAST) == 0
        # Sharp tips and the corners between curves are all that an opening would take away.
        assert shape.difference(shape.buffer(-0.45 * LEAST).buffer(0.55 * LEAST)).area < (
            0.005 * shape.area
        )


def test_the_blocky_hand_draws_fewer_and_larger_shapes_than_the_fine_one():
    tone = board(noisy_board())
    first, second = plan_roles(2, 0, False)
    mid = draw(tone, [first], [35, 45], Progress())[0]
    fine = draw(tone, [second], [45], Progress())[0]
    assert len(mid.geoms) < len(fine.geoms)
    assert min(p.area for p in mid.geoms) > min(p.area for p in fine.geoms)
    assert shapely.length(mid) < shapely.length(fine)


def test_a_focus_area_keeps_what_is_lost_elsewhere():
    y, x = np.mgrid[:240, :400]
    tone = np.full((240, 400), 80.0)
    for centre in (100, 300):
        for k in range(9):
            dot = np.hypot(x - centre - 20 * (k % 3 - 1), y - 120 - 20 * (k // 3 - 1))
            tone[dot < 3.2] = 20
    focus = np.zeros(tone.shape, bool)
    focus[:, :200] = True
    (shape,) = draw(board(tone, focus=focus), plan_roles(1, 0, False), [50], Progress())
    centres = shapely.get_coordinates(shapely.centroid(shapely.get_parts(shape)))
    assert (centres[:, 0] < 100).sum() == 9
    assert (centres[:, 0] > 100).sum() == 0


def test_a_base_covers_the_subject_and_nothing_else():
    tone = rings()
    y, x = np.mgrid[: tone.shape[0], : tone.shape[1]]
    subject = np.hypot(x - 140, y - 160) < 130
    base, shadow = draw(board(tone, subject=subject), plan_roles(1, 0, True), [25], Progress())
    assert base.area == pytest.approx(np.pi * (130 * PIXEL) ** 2, rel=0.02)
    assert all(not p.interiors for p in base.geoms)
    assert base.covers(shadow)


def test_an_outline_runs_where_pixels_end():
    marked = np.zeros((60, 90), bool)
    marked[:, 30:] = True
    shape = outline(marked, 0.5)
    assert shape.bounds == pytest.approx((15, 0, 45, 30), abs=1e-3)


def test_smoothing_moves_edges_by_less_than_a_pixel():
    shape = MultiPolygon([shapely.Point(50, 40).buffer(20)])
    again = smoothed(shape, (160, 200), 0.5)
    assert shapely.hausdorff_distance(again.boundary, shape.boundary) < 0.25


def test_opening_and_closing_take_what_is_narrow_and_keep_corners():
    key = MultiPolygon([shapely.union(shapely.box(0, 0, 4, 4), shapely.box(4, 1, 9, 2))])
    assert open_shape(key, 1.5).symmetric_difference(shapely.box(0, 0, 4, 4)).area < 1e-9
    slit = MultiPolygon([shapely.box(0, 0, 9, 4).difference(shapely.box(4, -1, 5, 3))])
    assert close_shape(slit, 1.5).symmetric_difference(shapely.box(0, 0, 9, 4)).area < 1e-9


def test_specks_and_slivers_go():
    parts = MultiPolygon(
        [shapely.box(0, 0, 9, 9).difference(shapely.box(4, 4, 5, 5)), shapely.box(20, 0, 21, 1)]
    )
    fine = np.zeros((30, 30), bool)
    whole = without_specks(parts, 2.0, 0.5, fine, 1.0)
    assert whole.equals(MultiPolygon([shapely.box(0, 0, 9, 9)]))
    fine[:] = True
    assert without_specks(parts, 2.0, 0.5, fine, 1.0).equals(parts)
    strip = MultiPolygon([shapely.box(0, 0, 30, 0.5)])
    assert without_slivers(strip, 1.0).is_empty


def lined(light, dark):
    """Patches of two tones, and a thin dark line that winds through the lighter one."""
    y, x = np.mgrid[:240, :400]
    tone = np.where(x < 120, dark, light).astype(float)
    off = np.abs(y - 120 - 30 * np.sin(x / 30)) / np.hypot(1, np.cos(x / 30))
    tone[(off < 1.2) & (x > 180) & (x < 360)] = dark
    return tone


def test_the_shadow_draws_a_thin_line_wide_enough_to_be_cut_and_no_edge():
    # The line is 2.4 pixels, 1.2 mm wide; the patch on the left is a mid-tone.
    tone = lined(80, 45)
    mid, shadow = draw(board(tone), plan_roles(2, 0, False), [25, 60], Progress())
    left, right = shapely.box(0, 0, 80, 120), shapely.box(80, 0, 200, 120)
    assert shadow.intersection(left).is_empty
    strokes = shadow.intersection(right)
    assert strokes.bounds[2] - strokes.bounds[0] > 80
    assert worn_parts(shadow, LEAST) == 0
    assert mid.intersection(left).area == pytest.approx(60 * 120, rel=0.03)


def test_on_a_dark_wall_lines_are_left_open():
    tone = lined(80, 20)
    (light,) = draw(board(tone), plan_roles(0, 1, False), [50], Progress())
    x = np.arange(190, 350)
    middle = shapely.points((x + 0.5) * PIXEL, (120 - 30 * np.sin(x / 30)) * PIXEL)
    assert shapely.contains(light, middle).mean() < 0.1
    assert light.area > 0.85 * (280 * 240 * PIXEL**2)


def test_a_highlight_of_rising_light_takes_the_top_and_a_flat_one_all():
    y, x = np.mgrid[:320, :400]
    far = np.hypot(x - 200, y - 160)
    flat = np.where(far < 100, 90.0, 30.0)
    rising = np.where(far < 100, 95 - 0.35 * far, 30.0)
    roles, whole = plan_roles(1, 1, False), np.pi * (100 * PIXEL) ** 2
    all_of_it = draw(board(flat), roles, [20, 50], Progress())[1]
    top = draw(board(rising), roles, [20, 50], Progress())[1]
    assert all_of_it.area == pytest.approx(whole, rel=0.03)
    assert 0.05 * whole < top.area < 0.7 * whole
    assert top.contains(shapely.Point(200 * PIXEL, 160 * PIXEL))
