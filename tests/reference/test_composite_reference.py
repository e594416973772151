"""Source-over against its published formula and two compositors of other makers."""

from __future__ import annotations

import cairocffi as cairo
import numpy as np
import pytest
from PIL import Image

from sheetstack.geometry.colour import srgb_from_hex
from sheetstack.geometry.paint.wall import Can, composite_colours

RNG = np.random.default_rng(61)
CASES = [
    (
        [
            Can("#" + RNG.integers(0, 256, 3, np.uint8).tobytes().hex(), round(float(o), 3))
            for o in RNG.random(4)
        ],
        "#" + RNG.integers(0, 256, 3, np.uint8).tobytes().hex(),
    )
    for _ in range(6)
]
EVERY = np.array([[bool(k >> i & 1) for i in range(4)] for k in range(16)])


@pytest.mark.parametrize(("paints", "ground"), CASES)
def test_w3c_formula(paints, ground):
    """W3C Compositing and Blending Level 1, 5.1: co = cs as + cb ab (1 - as); ao likewise."""
    seen = composite_colours(EVERY, paints, ground)[-1]
    for covered, got in zip(EVERY, seen, strict=True):
        colour, alpha = srgb_from_hex(ground), 1.0
        for here, paint in zip(covered, paints, strict=True):
            a = paint.opacity if here else 0.0
            colour = (srgb_from_hex(paint.colour) * a + colour * alpha * (1 - a)).clip(0, 1)
            alpha = a + alpha * (1 - a)
        assert alpha == pytest.approx(1)
        assert got == pytest.approx(colour, abs=1e-12)


@pytest.mark.parametrize(("paints", "ground"), CASES)
def test_pillow_alpha_composite(paints, ground):
    seen = composite_colours(EVERY, paints, ground)[-1] * 255
    for covered, got in zip(EVERY, seen, strict=True):
        picture = Image.new("RGBA", (1, 1), ground)
        for here, paint in zip(covered, paints, strict=True):
            if here:
                over = (*bytes.fromhex(paint.colour[1:]), round(paint.opacity * 255))
                picture = Image.alpha_composite(picture, Image.new("RGBA", (1, 1), over))
        # Pillow holds bytes: half a step for the opacity and one for each pass.
        assert picture.getpixel((0, 0))[:3] == pytest.approx(got, abs=1.0 + float(covered.sum()))


@pytest.mark.parametrize(("paints", "ground"), CASES)
def test_cairo_over(paints, ground):
    seen = composite_colours(EVERY, paints, ground)[-1] * 255
    for covered, got in zip(EVERY, seen, strict=True):
        surface = cairo.ImageSurface(cairo.FORMAT_ARGB32, 1, 1)
        context = cairo.Context(surface)
        context.set_source_rgb(*srgb_from_hex(ground))
        context.paint()
        for here, paint in zip(covered, paints, strict=True):
            if here:
                context.set_source_rgb(*srgb_from_hex(paint.colour))
                context.paint_with_alpha(paint.opacity)
        b, g, r, a = bytes(surface.get_data())[:4]
        assert a == 255
        assert (r, g, b) == pytest.approx(got, abs=1.0 + float(covered.sum()))
