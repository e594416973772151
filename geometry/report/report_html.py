"""The report as one HTML file: pictures, maps, tables, cautions; nothing is fetched from afar."""

from __future__ import annotations

import base64
import struct
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from ..build import Build
from ..cautions import CAUTIONS
from ..job.names import CARE_SHOWN, DRIFT, PLAIN, PREVIEW, REPORT_DATA, STACK
from .markup import text
from .sheet_map import MOST_LABELS, pin, sheet_map, worst_first

#: Rows of a table; the rest is in the JSON file.
_MOST_ROWS = 100
_SEVERITIES = {"spoils": "spoils the stencil", "warning": "worth a look", "note": "note"}

_STYLE = """
:root { color-scheme: light; }
body { margin: 0 auto; max-width: 62rem; padding: 2rem 1.5rem 4rem; background: #fff;
  color: #20272a; font: 16px/1.5 system-ui, -apple-system, "Segoe UI", "Noto Sans", sans-serif; }
h1 { font-size: 2rem; line-height: 1.2; margin: 0 0 .4rem; }
h2 { font-size: 1.45rem; margin: 3rem 0 .6rem; padding-top: .8rem; border-top: 2px solid #20272a; }
h3 { font-size: 1.05rem; margin: 1.6rem 0 .4rem; }
p { margin: .4rem 0; max-width: 46rem; }
.verdict { display: inline-block; padding: .2rem .8rem; border-radius: .3rem; font-weight: 600; }
.verdict.clean { background: #e3f1e6; border: 1px solid #2d7a3e; }
.verdict.spoilt { background: #fbe3e0; border: 2px solid #b3261e; }
.pictures { display: flex; flex-wrap: wrap; gap: 1.2rem; margin: 1.5rem 0; }
.pictures figure { min-width: 16rem; }
figure { margin: 0; break-inside: avoid; }
figure img { display: block; width: 100%; height: auto; }
figcaption { font-size: .88rem; color: #4c575b; margin-top: .4rem; }
.wide { overflow-x: auto; margin: .2rem 0 1rem; }
table { border-collapse: collapse; font-size: .88rem; font-variant-numeric: tabular-nums; }
th, td { padding: .22rem .7rem .22rem 0; text-align: left; vertical-align: top;
  border-bottom: 1px solid #dfe3e4; }
thead th { border-bottom: 1.5px solid #20272a; font-weight: 600; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
.number { text-align: right; }
.chip { display: inline-block; width: .95em; height: .95em; border: 1px solid #20272a;
  border-radius: 50%; vertical-align: -.1em; margin-right: .4em; print-color-adjust: exact;
  -webkit-print-color-adjust: exact; }
.tables { display: flex; flex-wrap: wrap; gap: 0 3rem; }
.facts { display: grid; grid-template-columns: repeat(auto-fill, minmax(11rem, 1fr));
  gap: .5rem 1.5rem; margin: .8rem 0 1.2rem; }
.facts div { border-left: 3px solid #dfe3e4; padding-left: .6rem; }
.facts dt { font-size: .82rem; color: #4c575b; }
.facts dd { margin: 0; font-weight: 600; }
.more { font-size: .88rem; color: #4c575b; }
.cautions { break-inside: avoid; border: 2px solid #20272a; padding: .4rem 1.2rem 1rem;
  margin-top: 3rem; }
.cautions h2 { border: 0; margin: .6rem 0; padding: 0; }
.cautions dt { font-weight: 600; margin-top: .6rem; }
.cautions dd { margin: 0; max-width: 46rem; }
.map { display: block; width: 100%; max-height: 60rem; print-color-adjust: exact;
  -webkit-print-color-adjust: exact; }
.map path { stroke-width: var(--line); fill-rule: evenodd; }
.map .sheet { fill: #e6e8e6; stroke: #20272a; }
.map .opening { fill: var(--colour); stroke: #3a4448; stroke-width: calc(.6 * var(--line)); }
.map .hole { fill: #fff; stroke: #20272a; }
.map .hatch { stroke: #20272a; stroke-opacity: .55; }
.map .island { stroke: #20272a; stroke-width: calc(1.5 * var(--line));
  stroke-dasharray: calc(4 * var(--line)) calc(2.5 * var(--line)); }
.map .bridge { fill: #ffd400; stroke: #20272a; }
.map .neck { fill: #7cd7ff; stroke: #20272a;
  stroke-dasharray: var(--line) calc(1.5 * var(--line)); }
.map text { font-family: system-ui, "Segoe UI", "Noto Sans", sans-serif; fill: #20272a;
  stroke: #fff; stroke-width: .28em; stroke-linejoin: round; paint-order: stroke; }
.map .island-label { text-anchor: middle; font-weight: 700; font-size: .85em; }
.map .bridge-label { font-size: .72em; text-anchor: middle; }
.map .pin text { text-anchor: middle; font-size: .8em; font-weight: 700; stroke: none; }
.map .stem { fill: none; stroke: #20272a; }
.map .scale { fill: none; stroke: #20272a; }
.pin path { stroke: #20272a; }
.pin.spoils path { fill: #e5533f; }
.pin.warning path { fill: #ffb52e; }
.pin.note path { fill: #fff; }
svg.pin { width: .95em; height: .95em; vertical-align: -.12em; }
svg.pin path { stroke-width: .25; }
.map .pin path { vector-effect: non-scaling-stroke; stroke-width: 1px; }
.key { display: flex; flex-wrap: wrap; gap: .1rem 1.4rem; }
.key svg { width: 1.5em; height: .95em; vertical-align: -.1em; margin-right: .35em; }
.key svg.pin { width: .95em; }
.key path { stroke: #20272a; stroke-width: 1; }
@media print {
  body { max-width: none; padding: 0; font-size: 9.5pt; }
  h2 { margin-top: 1.2rem; }
  section.layer { break-before: page; }
  section.layer h2 { border: 0; margin-top: 0; padding: 0; }
  .facts { grid-template-columns: repeat(5, 1fr); gap: .3rem 1rem; }
  .map { max-height: 17.5cm; }
  table { font-size: 8pt; }
  th, td { padding: .1rem .5rem .1rem 0; }
  .tables { gap: 0 1.5rem; }
}
@page { margin: 15mm; }
"""


def report_html(build: Build, data: Mapping[str, Any], images: Mapping[str, bytes]) -> str:
    """Return the report as an HTML document that is well-formed XML too.

    Parameters
    ----------
    build : Build
        For the maps' shapes.
    data : mapping
        ``report_data(build)``: every number and word of the report.
    images : mapping
        PNG bytes by file name, of ``preview.png``, ``stack.png``, where there are bridges to
        compare with, ``plain-bridges.png``, where the painting is told, ``drift.png``, and where
        care is stated, ``care-shown.png``; they are embedded.

    Returns
    -------
    str
    """
    parts = [
        '<!DOCTYPE html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8"/>',
        '<meta name="viewport" content="width=device-width, initial-scale=1"/>',
        f"<title>{text(data['title'])}: stencil report</title>\n<style>{_STYLE}</style>\n</head>",
        "<body>\n<main>",
        *_head(data, images),
        *_general_findings(data),
        *_painting(data, images),
        *_bridges(data, images),
        *_care(images),
    ]
    for layer, layer_data in zip(build.layers, data["layers"], strict=True):
        parts += _layer(sheet_map(layer, layer_data), layer_data)
    parts += [*_making(data), *_cautions(), "</main>\n</body>\n</html>\n"]
    return "\n".join(parts)


def _head(data: Mapping[str, Any], images: Mapping[str, bytes]) -> Iterable[str]:
    sheet, totals = data["sheet"], data["totals"]
    yield f"<h1>{text(data['title'])}</h1>"
    spoils = totals["findings"]["spoils"]
    if spoils:
        yield (
            '<p class="verdict spoilt">&#10007; Not ready to cut: '
            f"{_count(spoils, 'finding spoils', 'findings spoil')} a stencil.</p>"
        )
    else:
        verdict = "&#10003; Ready to cut: nothing found that spoils a stencil."
        yield f'<p class="verdict clean">{verdict}</p>'
    yield (
        f"<p>{_count(totals['layers'], 'sheet')} of {text(sheet['material_title'])}, "
        f"{sheet['width_mm']:g} &#215; {sheet['height_mm']:g} mm, "
        f"{sheet['thickness_mm']:g} mm thick, {_mass(totals['mass_g'])} in all. "
        f"{_count(totals['islands_found'], 'island')} found, "
        f"{totals['islands_left'] or 'none'} left to fall out; "
        f"{_count(totals['bridges'], 'strip')} of sheet at least "
        f"{sheet['bridge_width_mm']:g} mm wide laid to hold them.</p>"
    )
    yield '<div class="pictures">'
    yield _figure(images[PREVIEW], "The painted picture", "All colours sprayed in order.")
    yield _figure(images[STACK], "The stack of sheets, exploded", "The sheets in register.")
    yield "</div>"
    yield "<h2>Spray order</h2>"
    rows = [
        [
            str(layer["number"]),
            f"{_chip(layer['colour'])}{text(layer['name'])}",
            text(layer["role"]),
            f"{layer['painted_mm2'] / 100:.1f}",
            str(layer["openings"]),
            str(len(layer["islands_found"])),
            str(len(layer["islands_left"])),
            str(len(layer["bridges"])),
            f"{layer['mass_g']:.1f}",
            " ".join(_link(layer["files"][kind], kind) for kind in ("stl", "cut")),
        ]
        for layer in data["layers"]
    ]
    head = [
        "",
        "Layer",
        "Role",
        "Painted cm&#178;",
        "Openings",
        "Islands",
        "Left",
        "Strips",
        "Mass g",
    ]
    yield _table([*head, "Files"], rows, numbers=(3, 4, 5, 6, 7, 8))
    yield (
        f"<p>The wall is {_chip(data['ground'])}{text(data['ground'])} before the first colour. "
        "Painted is the area that a layer's openings let through, before later colours cover it. "
        f"All values, with places and paths, are in {_link(REPORT_DATA, REPORT_DATA)}.</p>"
    )
    yield "<h3>Key to the maps</h3>"
    yield '<p class="key">' + "".join(f"<span>{sign}</span>" for sign in _key()) + "</p>"
    yield "<p>Places are millimetres from the sheet's lower left corner: to the right, and up.</p>"


def _key() -> Iterable[str]:
    box = '<svg viewBox="0 0 24 15" aria-hidden="true"><path d="M1 1H23V14H1Z" {}/></svg>{}'
    yield box.format('fill="#9aa6a8"', "opening, in the layer's colour")
    yield box.format('fill="#e6e8e6" stroke-dasharray="4 2.5"', "I: island, dashed and hatched")
    yield box.format('fill="#ffd400"', "B: bridge across an opening")
    yield box.format('fill="#7cd7ff" stroke-dasharray="1 1.5"', "B, dotted: strip along a neck")
    for severity, words in _SEVERITIES.items():
        yield f"{pin(severity)} finding: {words}"


def _painting(data: Mapping[str, Any], images: Mapping[str, bytes]) -> Iterable[str]:
    """Tell of order, light over dark, and drift."""
    yield "<h2>Order and register</h2>"
    painting = data["painting"]
    if painting is None:
        yield (
            "<p>Not looked at, for there is very much of it: <code>sheetstack proof</code> tells "
            "what other spray orders would paint, and how far each sheet may drift.</p>"
        )
        return
    yield from (f"<p>{text(reason)}</p>" for reason in painting["reasons"])
    yield "<p>The picture decides, and you: try what looks better on a piece of card first.</p>"
    if painting["lighter_over_darker"]:
        yield "<h3>Light over dark</h3>"
        rows = [
            [
                text(row["upper"]),
                text(row["lower"]),
                f"{row['area_mm2'] / 100:.1f}",
                f"{row['lightness_step']:.0f}",
            ]
            for row in painting["lighter_over_darker"]
        ]
        head = ["Lighter", "over darker", "Area cm&#178;", "L* rises by"]
        yield _table(head, rows, numbers=(2, 3))
    yield "<h3>Drift</h3>"
    yield (
        f"<p>Counting on {text(painting['reckoned_with'])}. A sheet alone may lie off by so much "
        "before it shows:</p>"
    )
    rows = [
        [
            text(row["name"]),
            "any" if row["drift_mm"] is None else f"{row['drift_mm']:.2f}",
            "any" if row["turn_deg"] is None else f"{row['turn_deg']:.2f}",
        ]
        for row in painting["alone"]
    ]
    yield _table(["Sheet", "Shift mm", "Turn degrees"], rows, numbers=(1, 2))
    if not painting["register"]:
        yield "<p>Within that nothing shows.</p>"
        return
    rows = [
        [
            str(number),
            _place(finding["place"]).replace(" ", "&#160;") if finding["place"] else "",
            text(finding["message"]),
        ]
        for number, finding in enumerate(painting["register"], 1)
    ]
    yield _table(["", "Place mm", "What shows, the worst first"], rows, numbers=())
    if DRIFT in images:
        caption = "What each place has of the margin that it needs, the worst first."
        yield _figure(images[DRIFT], "The tightest places", caption)


def _bridges(data: Mapping[str, Any], images: Mapping[str, bytes]) -> Iterable[str]:
    if PLAIN not in images:
        return
    totals = data["totals"]
    saved = 1 - totals["damage"] / totals["plain_damage"]
    yield "<h2>Bridges in the picture</h2>"
    yield (
        "<p>A bridge's visible damage is the area where another colour shows than the picture "
        "wants, times how different the two look (CIEDE2000; 1 is just seen, black against white "
        "is 100). What later colours paint over does not count. "
    )
    if saved >= 0.005:
        yield (
            f"These bridges do {saved:.0%} less of it than plain shortest ones, as wide and as "
            "firm, would.</p>"
        )
    else:
        yield "Plain shortest bridges, as wide and as firm, would do as well here.</p>"
    yield '<div class="pictures">'
    yield _figure(images[PLAIN], "Before", "With plain shortest bridges.")
    yield _figure(images[PREVIEW], "After", "With the bridges of these sheets.")
    yield "</div>"
    rows = [
        [
            f"{_chip(layer['colour'])}{text(layer['name'])}",
            str(sum(b["kind"] == "bridge" for b in layer["bridges"])),
            f"{sum(b['visible_mm2'] for b in layer['bridges'] if b['kind'] == 'bridge'):.0f}",
            f"{layer['damage']:.0f}",
            f"{layer['plain_damage']:.0f}",
            _worst(layer, "deflection_mm"),
            _worst(layer, "stress_mpa"),
        ]
        for layer in data["layers"]
        if layer["bridges"]
    ]
    head = ["Layer", "Bridges", "Visible mm&#178;", "Damage", "Plain shortest"]
    head += ["Gives way mm", "Stress MPa"]
    yield _table(head, rows, numbers=(1, 2, 3, 4, 5, 6))
    yield (
        "<p>Gives way and stress are the greatest of the layer, the sheet taken as one whole: "
        "islands hang on islands, and what holds one moves with the next. They are for the sheet "
        "held in the hand by its frame, lying, under its own weight and a push at the worst edge "
        "of any island; both limits are for that case, and both are common practice without a "
        "source. "
        "Flat against the wall it bears less. Long chains give way most: hold such a sheet flat, "
        "or on a board, until it is on the wall.</p>"
    )


def _care(images: Mapping[str, bytes]) -> Iterable[str]:
    if CARE_SHOWN not in images:
        return
    yield "<h2>Care</h2>"
    yield (
        "<p>Where the picture is shaded, damage by bridges counts more than once, up to eight "
        "times where it is darkest: they go elsewhere if any other place is not that much "
        "worse. Bridges of all layers are blue.</p>"
    )
    yield _figure(images[CARE_SHOWN], "Care", "The greatest of all layers in each place.")


def _worst(layer: Mapping[str, Any], key: str) -> str:
    values = [island[key] for island in layer["islands_held"]]
    return f"{max(values):.1f}" if values else ""


def _general_findings(data: Mapping[str, Any]) -> Iterable[str]:
    if data["findings"]:
        yield "<h2>Findings about the whole job</h2>"
        yield _findings_table(data["findings"])


def _layer(sheet_svg: str, layer: Mapping[str, Any]) -> Iterable[str]:
    name = f"{_chip(layer['colour'])}{layer['number']}. {text(layer['name'])}"
    yield f'<section class="layer">\n<h2>{name}</h2>'
    sound = layer["watertight"] and layer["oriented"]
    facts = {
        "Painted": _area(layer["painted_mm2"]),
        "Asked for by the artwork": _area(layer["artwork_mm2"]),
        "Taken away by strips": _area(layer["bridges_mm2"]),
        "Sheet left": _area(layer["sheet_mm2"]),
        "Openings": f"{layer['openings']}",
        "Registration holes": f"{layer['registration_holes']}",
        "Volume": f"{layer['volume_mm3'] / 1000:.2f} cm&#179;",
        "Mass": _mass(layer["mass_g"]),
        "Solid": f"{'closed' if sound else 'NOT CLOSED'} (Euler {layer['euler']})",
    }
    yield '<dl class="facts">'
    yield from (f"<div><dt>{name}</dt><dd>{value}</dd></div>" for name, value in facts.items())
    yield "</dl>"
    caption = "The sheet to be cut, seen from the front."
    if layer["islands_found"] or layer["bridges"] or layer["findings"]:
        caption += (
            f" At most {MOST_LABELS} of each kind are labelled, and labels that would cover each "
            "other are left out; the tables give the places of all."
        )
    yield f"<figure>{sheet_svg}\n<figcaption>{caption}</figcaption></figure>"
    if layer["findings"]:
        yield "<h3>Findings</h3>"
        yield _findings_table(layer["findings"])
    yield '<div class="tables">'
    if layer["islands_left"]:
        yield f"<div><h3>Islands left: they fall out</h3>{_islands(layer['islands_left'])}</div>"
    if layer["islands_let_go"]:
        rows = [
            [_place(i["place"]), f"{i['area_mm2']:.2f}", f"{i['worth']:.0f}", f"{i['spared']:.0f}"]
            for i in layer["islands_let_go"]
        ]
        head = ["Place mm", "Area mm&#178;", "Damage so", "Damage of its bridges"]
        table = _table(head, rows, numbers=(1, 2, 3))
        yield f"<div><h3>Islands let go: painted over</h3>{table}</div>"
    if layer["islands_found"]:
        yield f"<div><h3>Islands of the plain sheet</h3>{_islands(layer['islands_found'])}</div>"
    if layer["bridges"]:
        rows = [
            [
                f"B{b['number']}",
                text(b["id"]) + (" (by hand)" if b["state"] == "locked" else ""),
                b["kind"],
                _place(b["place"]),
                f"{b['width_mm']:.1f}",
                f"{b['gap_mm']:.1f}" if b["kind"] == "bridge" else "",
                f"{b['covers_mm2']:.1f}",
                f"{b['visible_mm2']:.1f}",
                f"{b['damage']:.0f}",
            ]
            for b in layer["bridges"]
        ]
        head = ["", "Id", "Strip", "Place mm", "Width mm", "Gap mm", "Covers mm&#178;"]
        head += ["Visible mm&#178;", "Damage"]
        table = _table(head, rows, numbers=(4, 5, 6, 7, 8))
        yield f"<div><h3>Bridges and necks</h3>{table}</div>"
    yield "</div>\n</section>"


def _islands(islands: Sequence[Mapping[str, Any]]) -> str:
    rows = [
        [f"I{i['number']}", _place(i["place"]), f"{i['area_mm2']:.1f}", f"{i['mass_g']:.2f}"]
        for i in islands
    ]
    return _table(["", "Place mm", "Area mm&#178;", "Mass g"], rows, numbers=(2, 3))


def _findings_table(findings: Iterable[Mapping[str, Any]]) -> str:
    rows = [
        [
            str(number),
            f"{pin(finding['severity'])} {_SEVERITIES[finding['severity']]}",
            _place(finding["place"]) if finding["place"] else "",
            text(finding["message"]),
        ]
        for number, finding in enumerate(worst_first(dict(f) for f in findings), 1)
    ]
    return _table(["", "Weight", "Place mm", "What was found"], rows, numbers=())


def _table(head: Sequence[str], rows: Sequence[Sequence[str]], numbers: Sequence[int]) -> str:
    """Return a table of cells that are markup already; columns in ``numbers`` go to the right."""

    def cells(tag: str, values: Sequence[str]) -> str:
        return "".join(
            f'<{tag} class="number">{value}</{tag}>' if k in numbers else f"<{tag}>{value}</{tag}>"
            for k, value in enumerate(values)
        )

    lines = ['<div class="wide"><table>', f"<thead><tr>{cells('th', head)}</tr></thead>", "<tbody>"]
    lines += [f"<tr>{cells('td', row)}</tr>" for row in rows[:_MOST_ROWS]]
    lines.append("</tbody></table></div>")
    if len(rows) > _MOST_ROWS:
        lines.append(f'<p class="more">and {len(rows) - _MOST_ROWS} more, in {REPORT_DATA}</p>')
    return "\n".join(lines)


def _making(data: Mapping[str, Any]) -> Iterable[str]:
    making, found = data["making"], data["estimate"]
    yield '<section class="making">\n<h2>Making and estimate</h2>'
    notes = [f"{making['process_title']}.", making["laser_note"], making["care"]]
    yield f"<p>{text(' '.join(note for note in notes if note))}</p>"
    head, *rows = ([text(cell) for cell in row] for row in found["rows"])
    yield _table(head, rows, numbers=range(1, len(head)))
    yield from (f"<p>{text(note)}</p>" for note in found["notes"])
    yield "<p>Ranges, not promises. Every value below can be changed in the job file.</p>"
    assumptions = [
        [f"<code>{text(a['key'])}</code>", text(a["value"]), text(a["about"]), text(a["source"])]
        for a in found["assumptions"]
    ]
    yield _table(["Assumption", "Value", "What it is", "Source"], assumptions, numbers=())
    yield "</section>"


def _cautions() -> Iterable[str]:
    yield '<section class="cautions">\n<h2>Cautions</h2>\n<dl>'
    yield from (f"<dt>{text(c.title)}</dt><dd>{text(c.text)}</dd>" for c in CAUTIONS)
    yield "</dl>\n</section>"


def _figure(png: bytes, alt: str, caption: str) -> str:
    encoded = base64.b64encode(png).decode("ascii")
    width, height = struct.unpack(">II", png[16:24])  # PNG, 11.2.2: the header chunk comes first
    # Side by side the pictures get one height: widths go by aspect.
    aspect = width / height
    return (
        f'<figure style="flex:{aspect:.3f} 1 0">'
        f'<img width="{width}" height="{height}" alt="{text(alt)}" '
        f'src="data:image/png;base64,{encoded}"/>'
        f"<figcaption>{text(alt)}. {text(caption)}</figcaption></figure>"
    )


def _chip(colour: str) -> str:
    return f'<span class="chip" style="background:{text(colour)}"></span>'


def _link(name: str, label: str) -> str:
    return f'<a href="{text(quote(name))}">{text(label)}</a>'


def _place(place: Sequence[float]) -> str:
    return f"{place[0]:.1f}, {place[1]:.1f}"


def _area(mm2: float) -> str:
    return f"{mm2 / 100:.1f} cm&#178;"


def _mass(grams: float) -> str:
    return f"{grams / 1000:.2f} kg" if grams >= 1000 else f"{grams:.1f} g"


def _count(count: int, one: str, several: str = "") -> str:
    return f"{count} {one if count == 1 else several or one + 's'}"
