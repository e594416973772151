"""The offer as the client gets it: an HTML page and an A4 PDF of the same words."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from PIL import Image

from ..cautions import cautions_for
from ..files.a4_pdf import Pages, Paper
from .markup import text
from .offer import Offer, Option, money, size_text
from .size_picture import size_picture

_STYLE = """
:root { color-scheme: light; }
body { margin: 0 auto; max-width: 52rem; padding: 2rem 1.5rem 3rem; background: #fff;
  color: #20272a; font: 16px/1.5 system-ui, -apple-system, "Segoe UI", "Noto Sans", sans-serif; }
header { display: flex; justify-content: space-between; gap: 2rem; align-items: flex-start; }
header img { max-height: 5rem; max-width: 14rem; }
h1 { font-size: 1.9rem; line-height: 1.2; margin: 1.2rem 0 .2rem; }
h2 { font-size: 1.1rem; margin: 1.5rem 0 .4rem; padding-top: .5rem;
  border-top: 2px solid #20272a; }
p { margin: .3rem 0; } .small { font-size: .86rem; color: #4c575b; }
figure { margin: .8rem 0; break-inside: avoid; } img { max-width: 100%; height: auto; }
figcaption { font-size: .86rem; color: #4c575b; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { padding: .25rem .6rem .25rem 0; text-align: left; border-bottom: 1px solid #dfe3e4;
  vertical-align: top; font-weight: 400; }
thead th { font-weight: 600; border-bottom: 1.5px solid #20272a; }
.number { text-align: right; padding: .25rem 0 .25rem 1rem; }
.options { display: flex; flex-wrap: wrap; gap: 1rem; }
.options figure { flex: 1 1 13rem; max-width: 24rem; } .total td { font-weight: 700; }
.chip { display: inline-block; width: 1.6em; height: 1.1em; border: 1px solid #20272a;
  vertical-align: -.15em; margin-right: .5em; print-color-adjust: exact;
  -webkit-print-color-adjust: exact; }
.cautions { border: 2px solid #20272a; padding: .2rem 1rem .7rem; margin-top: 1.4rem;
  break-inside: avoid; font-size: .86rem; }
.cautions h2 { border: 0; margin: .4rem 0 0; padding: 0; }
.sign td { border-bottom: 0; border-top: 1px solid #20272a; font-size: .86rem; }
.sign { margin-top: 3.2rem; border-spacing: 1rem 0; border-collapse: separate; }
@page { margin: 13mm; }
"""


@dataclass(frozen=True)
class _Table:
    """A table of plain words: the heading, the rows, a colour for each row, a sum at the end."""

    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...] = ()
    chips: tuple[str, ...] = ()
    total: bool = False


def offer_title(offer: Offer) -> str:
    """Return the offer's heading."""
    return f"Offer: {offer.options[0].build.job.title}"


def _facts(offer: Offer) -> list[str]:
    asked = offer.studio.offer
    said = [f"Date {offer.day.isoformat()}, holds until {offer.until.isoformat()}."]
    if asked.client:
        said.append("For " + ", ".join(asked.client.splitlines()) + ".")
    if asked.place:
        said.append(f"Wall: {', '.join(asked.place.splitlines())}.")
    return said


def _surface(option: Option) -> str:
    return {
        "brick": "on brick",
        "plaster": "on plaster",
        "concrete": "on concrete",
        "board": "on board",
        "canvas": "on canvas",
    }[option.build.job.mockup.surface]


def _named(offer: Offer, number: int) -> str:
    """Return what an option is called: by its picture, too, where they are of several."""
    option = offer.options[number - 1]
    name = f"{size_text(option.size_mm)} {_surface(option)}"
    if len({o.build.job.title for o in offer.options}) > 1:
        name = f"{option.build.job.title}, {name}"
    return f"Option {number}: {name}" if len(offer.options) > 1 else name


def _price_table(offer: Offer) -> _Table:
    unit, count = offer.currency, len(offer.options)
    heads = [_named(offer, k) for k in range(1, count + 1)]
    prices = [option.price for option in offer.options]
    tax = f"Tax {offer.studio.offer.tax_percent:g} %"
    rows = (
        ("", *heads),
        ("Design, stencils and painting", *(money(p.labour_asked, unit) for p in prices)),
        ("Material", *(money(p.material_asked, unit) for p in prices)),
        ("Net", *(money(p.net, unit) for p in prices)),
        (tax, *(money(p.tax, unit) for p in prices)),
        ("Price", *(money(p.total, unit) for p in prices)),
    )
    return _Table(rows, tuple(range(1, count + 1)), total=True)


def _colour_tables(offer: Offer) -> Iterator[tuple[str, _Table]]:
    """Yield the colours, once for all options that have the same, each with its heading."""
    tables: dict[_Table, list[int]] = {}
    for number, option in enumerate(offer.options, 1):
        tables.setdefault(_colour_table(option), []).append(number)
    for table, numbers in tables.items():
        told = f"option{'s' * (len(numbers) > 1)} {', '.join(map(str, numbers))}"
        yield ("Colours" if len(tables) == 1 else f"Colours, {told}"), table


def _colour_table(option: Option) -> _Table:
    rows: dict[str, tuple[str, ...]] = {}
    ground = option.build.job.ground
    rows[ground] = ("Ground", "the wall's own or painted before", ground)
    for paint in option.paints:
        can, colour = paint.match.can, paint.match.colour
        named = can is not None and not paint.match.missing
        name = f"{can.name} {can.code}".strip() if can is not None and named else "by sample"
        known = rows.get(colour)
        if known is not None and known[0] != "Ground":
            rows[colour] = (f"{known[0]}, {paint.sheet}", name, colour)
        else:
            rows[colour] = (paint.sheet, name, colour)
    chips = tuple(rows)
    return _Table((("Part of the picture", "Paint", "Colour"), *rows.values()), chips=chips)


def _lists(offer: Offer) -> Iterator[tuple[str, list[str]]]:
    asked = offer.studio.offer
    yield "What is done", [line for line in asked.done.splitlines() if line.strip()]
    yield "What is not", [line for line in asked.not_done.splitlines() if line.strip()]
    yield "Permission", [f"Needed before work begins: {asked.permission}."]


def offer_html(offer: Offer, mockups: Sequence[bytes] = (), logo: bytes | None = None) -> str:
    """Return the offer as an HTML document that is well-formed XML too.

    Parameters
    ----------
    offer : Offer
    mockups : sequence of bytes
        PNG or JPEG pictures of the wall.
    logo : bytes, optional

    Returns
    -------
    str
        Whole in itself, without own cost.
    """
    artist = offer.studio.artist
    parts = [
        '<!DOCTYPE html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8"/>',
        '<meta name="viewport" content="width=device-width, initial-scale=1"/>',
        f"<title>{text(offer_title(offer))}</title>\n<style>{_STYLE}</style>\n</head>\n<body>",
        "<header><div>",
    ]
    parts += [f"<p>{text(line)}</p>" for line in _sender(offer)]
    parts.append("</div>")
    if logo is not None:
        parts.append(f'<img src="{_data(logo)}" alt="{text(artist.name or "logo")}"/>')
    parts.append(f"</header>\n<main><h1>{text(offer_title(offer))}</h1>")
    parts += [f"<p>{text(line)}</p>" for line in _facts(offer)]
    for mockup in mockups:
        parts.append(_figure(_opened(mockup), "The picture on the wall (visualisation)."))
    parts.append('<div class="options">')
    for number, option in enumerate(offer.options, 1):
        caption = f"{_named(offer, number)}: true size beside a person of 1.70 m."
        drawn = size_picture(option.build, room_for=_largest(offer))
        parts.append(_figure(drawn, caption, small=True))
    parts.append("</div>")
    parts.append("<h2>Price</h2>" + _html_table(_price_table(offer)))
    for heading, colours in _colour_tables(offer):
        parts.append(f"<h2>{heading}</h2>" + _html_table(colours))
    for head, lines in _lists(offer):
        items = "".join(f"<li>{text(line)}</li>" for line in lines)
        parts.append(f"<h2>{head}</h2><ul>{items}</ul>")
    parts.append('<section class="cautions"><h2>Mind</h2>')
    parts += [
        f"<p><strong>{text(c.title)}.</strong> {text(c.text)}</p>"
        for c in cautions_for("paint", "wall")
    ]
    parts.append("</section>")
    signed = "".join(f"<td>{text(word)}</td>" for word in _accepted(offer))
    parts.append(f'<table class="sign"><tr>{signed}</tr></table>')
    parts.append("</main>\n</body>\n</html>\n")
    return "\n".join(parts)


def offer_pdf(offer: Offer, mockups: Sequence[bytes] = (), logo: bytes | None = None) -> Paper:
    """Return the offer as an A4 PDF, of the same words as the page.

    Parameters
    ----------
    offer, mockups, logo
        See :func:`offer_html`.
    """
    artist = offer.studio.artist
    foot = " - ".join(t for t in (offer_title(offer), artist.name) if t)
    pages = Pages(offer_title(offer), foot, offer.studio.font)
    if logo is not None:
        top, image = pages.y, _opened(logo)
        wide = min(45.0, 22.0 * image.width / image.height)
        pages.picture(image, wide, 22, left=pages.right - wide)
        below, pages.y = pages.y, top
    else:
        below = pages.y
    for line in _sender(offer):
        pages.words(line, 9.5, width=110, after=0)
    pages.y = max(pages.y, below) + 4
    pages.words(offer_title(offer), 20, bold=True)
    for line in _facts(offer):
        pages.words(line, 10, after=0.5)
    pages.y += 2
    for mockup in mockups:
        pages.picture(_opened(mockup), pages.width, 135)
        pages.words("The picture on the wall (visualisation).", 8.5, faint=True)
    count = len(offer.options)
    first = 0.34 if count < 3 else 0.25
    prices = _price_table(offer)
    # The prices stand on one page.
    pages.need(60)
    pages.heading("Price")
    columns = (first, *[(1 - first) / count] * count)
    pages.table(prices.rows, columns, numbers=prices.numbers, total=True)
    _sizes(pages, offer)
    for heading, colours in _colour_tables(offer):
        pages.heading(heading)
        pages.table(colours.rows, (0.4, 0.4, 0.2), chips=colours.chips)
    for head, lines in _lists(offer):
        pages.heading(head)
        for line in lines:
            pages.words(f"- {line}" if len(lines) > 1 else line, 10, after=0.5)
    cautions = [f"{c.title}. {c.text}" for c in cautions_for("paint", "wall")]
    # What is signed stands below what it says, never alone on a page.
    pages.need(sum(pages.height(line, 8) + 0.7 for line in cautions) + 38)
    pages.heading("Mind")
    for line in cautions:
        pages.words(line, 8, after=0.7)
    pages.y += 13
    pages.blanks(_accepted(offer))
    return pages.paper()


def _sizes(pages: Pages, offer: Offer) -> None:
    """Draw every option beside a person, all at one scale, side by side."""
    count = len(offer.options)
    drawings = [size_picture(option.build, room_for=_largest(offer)) for option in offer.options]
    across = pages.width / count
    high = min(50.0, *((across - 4) * drawn.height / drawn.width for drawn in drawings))
    pages.need(high + 12)
    left, top, below = pages.left, pages.y, pages.y
    for number, drawn in enumerate(drawings, 1):
        pages.y = top
        pages.picture(drawn, across - 4, high, left=left)
        words = f"{_named(offer, number)}: true size beside a person of 1.70 m."
        pages.words(words, 8.5, faint=True, left=left, width=across - 4)
        below = max(below, pages.y)
        left += across
    pages.y = below


def _accepted(offer: Offer) -> tuple[str, ...]:
    """Return what the client fills in."""
    accepted = "Accepted: option" if len(offer.options) > 1 else "Accepted"
    return (accepted, "Place and date", "Name", "Signature")


def _sender(offer: Offer) -> list[str]:
    artist = offer.studio.artist
    lines = [artist.name, *artist.contact.splitlines()]
    if artist.tax_number:
        lines.append(f"Tax number {artist.tax_number}")
    return [line for line in lines if line.strip()]


def _html_table(table: _Table) -> str:
    def cell(tag: str, k: int, value: str, chip: str = "") -> str:
        kind = ' class="number"' if k in table.numbers else ""
        mark = f'<span class="chip" style="background:{chip}"></span>' if chip and not k else ""
        return f"<{tag}{kind}>{mark}{text(value)}</{tag}>"

    head, *rows = table.rows
    lines = [
        "<table><thead><tr>"
        + "".join(cell("th", k, v) for k, v in enumerate(head))
        + "</tr></thead>"
    ]
    lines.append("<tbody>")
    for number, row in enumerate(rows):
        chip = table.chips[number] if table.chips else ""
        last = ' class="total"' if table.total and number == len(rows) - 1 else ""
        cells = "".join(cell("td", k, v, chip) for k, v in enumerate(row))
        lines.append(f"<tr{last}>{cells}</tr>")
    return "\n".join([*lines, "</tbody></table>"])


def _largest(offer: Offer) -> tuple[float, float]:
    """Return the width and height that all options fit into: their drawings have one scale."""
    sizes = [option.size_mm for option in offer.options]
    return max(wide for wide, _ in sizes), max(high for _, high in sizes)


def _opened(picture: bytes) -> Image.Image:
    """Return a picture on the page's white."""
    image = Image.open(io.BytesIO(picture)).convert("RGBA")
    page = Image.new("RGBA", image.size, "white")
    page.alpha_composite(image)
    return page.convert("RGB")


def _data(picture: bytes) -> str:
    file = io.BytesIO()
    Image.open(io.BytesIO(picture)).convert("RGBA").save(file, "PNG")
    return "data:image/png;base64," + base64.b64encode(file.getvalue()).decode("ascii")


def _figure(image: Image.Image, caption: str, *, small: bool = False) -> str:
    file = io.BytesIO()
    image.convert("RGB").save(file, "JPEG", quality=88, optimize=True)
    data = base64.b64encode(file.getvalue()).decode("ascii")
    size = ' style="max-height:22rem;width:auto"' if small else ""
    return (
        f'<figure><img{size} src="data:image/jpeg;base64,{data}" width="{image.width}" '
        f'height="{image.height}" alt="{text(caption)}"/>'
        f"<figcaption>{text(caption)}</figcaption></figure>"
    )
