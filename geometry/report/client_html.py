"""The client sheet: one page with the mock-up, size, colours, sheets, estimate and cautions."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable, Sequence

from PIL import Image

from ..build import Build
from ..cautions import cautions_for
from ..fabricate.estimate import Estimate, duration_text, estimate
from ..paint.wall import ColourArea, colour_areas, wall_of
from .markup import text

_STYLE = """
:root { color-scheme: light; }
body { margin: 0 auto; max-width: 58rem; padding: 2rem 1.5rem 3rem; background: #fff;
  color: #20272a; font: 16px/1.5 system-ui, -apple-system, "Segoe UI", "Noto Sans", sans-serif; }
h1 { font-size: 2rem; line-height: 1.2; margin: 0; }
h2 { font-size: 1.15rem; margin: 1.6rem 0 .4rem; padding-top: .5rem;
  border-top: 2px solid #20272a; }
p { margin: .3rem 0; max-width: 46rem; }
figure { margin: 1rem 0; break-inside: avoid; }
img { display: block; width: 100%; height: auto; border-radius: .25rem; }
figcaption, .small { font-size: .86rem; color: #4c575b; margin-top: .3rem; }
.columns { display: grid; grid-template-columns: 1fr 1fr; gap: 0 2.4rem; }
.columns section { break-inside: avoid; }
table { border-collapse: collapse; width: 100%; font-size: .92rem;
  font-variant-numeric: tabular-nums; }
th, td { padding: .25rem .6rem .25rem 0; text-align: left; border-bottom: 1px solid #dfe3e4;
  vertical-align: top; font-weight: 400; }
thead th { font-weight: 600; border-bottom: 1.5px solid #20272a; }
.number { text-align: right; padding-right: 0; }
.chip { display: inline-block; width: 1.6em; height: 1.1em; border: 1px solid #20272a;
  border-radius: .15em; vertical-align: -.15em; margin-right: .5em; print-color-adjust: exact;
  -webkit-print-color-adjust: exact; }
.cautions { border: 2px solid #20272a; border-radius: .3rem; padding: .2rem 1rem .7rem;
  margin-top: 1.6rem; break-inside: avoid; font-size: .86rem; }
.cautions h2 { border: 0; margin: .4rem 0 0; padding: 0; }
.cautions p { max-width: none; }
@media (max-width: 40rem) { .columns { grid-template-columns: 1fr; } }
@media print { body { max-width: none; padding: 0; font-size: 9.5pt; }
  h2 { margin-top: .8rem; } figure { margin: .5rem 0; } figure.second img { max-height: 6.5cm;
  width: auto; } figure.first img { max-height: 11cm; width: auto; } }
@page { margin: 13mm; }
"""
#: Colours under this share of the picture are left to the sheet.
_LEAST_SHARE = 1e-4


def client_html(build: Build, mockups: Sequence[bytes] = (), exploded: bytes | None = None) -> str:
    """Return the client sheet as an HTML document that is well-formed XML too.

    Parameters
    ----------
    build : Build
    mockups : sequence of bytes
        PNG or JPEG pictures, one for each wall; embedded as JPEG.
    exploded : bytes, optional
        A picture of the sheets.

    Returns
    -------
    str
        Nothing in it is fetched from afar; printed, it makes a page or two of PDF.
    """
    job = build.job
    title = text(job.title)
    made = estimate(build)
    wall = wall_of(build)
    areas = colour_areas(wall.cells, wall.passes()[-1])
    parts = [
        '<!DOCTYPE html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8"/>',
        '<meta name="viewport" content="width=device-width, initial-scale=1"/>',
        f"<title>{title}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>",
        f"<h1>{title}</h1>",
        f"<p>{_size(job.sheet.width_mm, job.sheet.height_mm)}, {_count(build)}</p>",
    ]
    for mockup in mockups:
        parts.append(_figure(mockup, "first", "The painted picture at true size (visualisation)."))
    parts += ['<div class="columns">', *_colours(build, areas), *_sheets(build, made), "</div>"]
    if exploded is not None:
        parts.append(_figure(exploded, "second", "The sheets in spray order, 1 sprayed first."))
    parts += [*_estimate(made), *_cautions(), "</main>\n</body>\n</html>\n"]
    return "\n".join(parts)


def _size(width: float, height: float) -> str:
    return f"{width / 10:g} x {height / 10:g} cm ({width / 25.4:.1f} x {height / 25.4:.1f} in)"


def _count(build: Build) -> str:
    colours = len({layer.settings.colour for layer in build.layers})
    sheets = len(build.layers)
    return (
        f"{colours} {'colour' if colours == 1 else 'colours'} on a painted ground, "
        f"{sheets} {'stencil' if sheets == 1 else 'stencils'} of "
        f"{text(build.job.material.title)}, {build.job.sheet.thickness_mm:g} mm."
    )


def _colours(build: Build, areas: Sequence[ColourArea]) -> Iterable[str]:
    names: dict[str, list[str]] = {build.job.ground: ["Ground"]}
    for layer in build.layers:
        known = names.setdefault(layer.settings.colour, [])
        if layer.settings.name not in known:
            known.append(layer.settings.name)
    whole = sum(area.area_mm2 for area in areas)
    yield "<section><h2>Colours</h2>\n<table><thead><tr><th>Colour</th>"
    yield '<th class="number">Share</th><th class="number">Area</th></tr></thead><tbody>'
    for area in areas:
        if area.area_mm2 < _LEAST_SHARE * whole:
            continue
        name = ", ".join(names.get(area.colour, ["Mixture of thin coats"]))
        yield (
            f'<tr><td><span class="chip" style="background:{area.colour}"></span>{text(name)} '
            f'<span class="small">{area.colour}</span></td>'
            f'<td class="number">{100 * area.area_mm2 / whole:.1f} %</td>'
            f'<td class="number">{area.area_mm2 / 100:.0f} cm&#178;</td></tr>'
        )
    yield "</tbody></table></section>"


def _sheets(build: Build, made: Estimate) -> Iterable[str]:
    yield "<section><h2>Sheets, in spray order</h2>\n<table><thead><tr><th>Sheet</th>"
    yield '<th class="number">Openings</th><th class="number">Bridges</th>'
    yield '<th class="number">Mass</th></tr></thead><tbody>'
    for number, layer in enumerate(build.layers, 1):
        yield (
            f'<tr><td><span class="chip" style="background:{layer.settings.colour}"></span>'
            f"{number} {text(layer.sheet.layer)}</td>"
            f'<td class="number">{len(layer.sheet.openings.geoms)}</td>'
            f'<td class="number">{len(layer.bridges)}</td>'
            f'<td class="number">{layer.mass_g:.0f} g</td></tr>'
        )
    yield "</tbody></table>"
    yield f'<p class="small">All sheets together {made.total.mass_g:.0f} g.</p></section>'


def _estimate(made: Estimate) -> Iterable[str]:
    total = made.total
    rows = [
        ("Making the sheets", duration_text(total.making_s)),
        ("Paint", total.paint_ml.text("ml")),
        ("Painted area", f"{1e4 * total.paint_m2:.0f} cm&#178;"),
    ]
    yield "<section><h2>Estimate</h2>\n<table><tbody>"
    for name, value in rows:
        yield f'<tr><td>{name}</td><td class="number">{value}</td></tr>'
    yield "</tbody></table>"
    yield (
        # What it costs the artist is none of the client's price.
        '<p class="small">Ranges, from the job\'s own values and common practice. No offer: the '
        "price stands there.</p></section>"
    )


def _cautions() -> Iterable[str]:
    yield '<section class="cautions"><h2>Mind</h2>'
    for caution in cautions_for("paint", "wall"):
        yield f"<p><strong>{text(caution.title)}.</strong> {text(caution.text)}</p>"
    yield "</section>"


def _figure(picture: bytes, kind: str, caption: str) -> str:
    image = Image.open(io.BytesIO(picture)).convert("RGB")
    file = io.BytesIO()
    image.save(file, "JPEG", quality=88, optimize=True)
    data = base64.b64encode(file.getvalue()).decode("ascii")
    return (
        f'<figure class="{kind}"><img src="data:image/jpeg;base64,{data}" '
        f'width="{image.width}" height="{image.height}" alt="{caption}"/>'
        f"<figcaption>{caption}</figcaption></figure>"
    )
