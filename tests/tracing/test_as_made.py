"""What another program writes anew in other words is no edit; what is painted otherwise is one."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from sheetstack.geometry.cli.main import main
from sheetstack.geometry.tracing.as_made import AS_MADE
from sheetstack.geometry.tracing.hand_edits import check_untouched
from tests.separation.drawings import BOAT, written

SVG = "{http://www.w3.org/2000/svg}"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    path = written(folder, "boat.svg", BOAT)
    assert main(["layers", str(path), "--sheet-width-mm", "340", "--quiet"]) == 0
    return folder / "boat-layers"


@pytest.fixture
def drawing(made, tmp_path):
    for name in ("layers.svg", "job.toml", AS_MADE):
        (tmp_path / name).write_bytes((made / name).read_bytes())
    return tmp_path / "layers.svg"


def edited(drawing):
    """The groups that count as changed by hand, as the sentence of the refusal names them."""
    try:
        check_untouched(drawing.parent, "layers.svg", "job.toml")
    except Exception as refused:
        return set(re.search(r"changed by hand: ([^;]*);", str(refused))[1].split(", "))
    return set()


def relative(d, digits, factor=1.0):
    """The same path in relative commands, its numbers rounded; rounding does not add up."""
    words, here, start = [], (0.0, 0.0), (0.0, 0.0)

    def step(points):
        return " ".join(
            f"{round(x * factor - here[0], digits):g} {round(y * factor - here[1], digits):g}"
            for x, y in points
        )

    for command, rest in re.findall(r"([MLCZ])([^MLCZ]*)", d):
        numbers = [float(v) for v in NUMBER.findall(rest)]
        points = list(zip(numbers[::2], numbers[1::2], strict=True))
        words.append(command.lower() + step(points))
        if command == "Z":
            here = start
            continue
        last = [round(v * factor - h, digits) for v, h in zip(points[-1], here, strict=True)]
        here = (here[0] + last[0], here[1] + last[1])
        if command == "M":
            start = here
    return "".join(words)


def rewritten(drawing, change):
    """Write a drawing as another program would: ElementTree's prefixes, and a change of each group.

    Traces of ours in attributes are gone, as programs drop what they do not know.
    """
    tree = ElementTree.parse(drawing)
    for group in tree.getroot().findall(f"{SVG}g"):
        if group.get("id") not in ("photo", "seams"):
            group.attrib.pop("data-traced")
            change(group)
    tree.getroot().attrib.pop("data-traced-job")
    tree.write(drawing)


def shorter(group):
    for path in group:
        path.set("d", relative(path.get("d"), 2))


def in_pixels(group):
    # 96 px an inch, and the group scaled back; paint as a style of each shape.
    group.set("transform", f"scale({25.4 / 96})")
    fill = group.attrib.pop("fill")
    for path in group:
        path.set("d", relative(path.get("d"), 3, 96 / 25.4))
        path.set("style", f"fill:{fill};stroke:none")


def in_one_path(group):
    paths = [path.get("d") for path in group]
    for path in list(group):
        group.remove(path)
    ElementTree.SubElement(group, f"{SVG}path", d="".join(paths), id="path9")


def in_a_group(group):
    inner = ElementTree.Element(f"{SVG}g", id="g12")
    inner.extend(list(group))
    for path in list(group):
        group.remove(path)
    group.append(inner)


@pytest.mark.parametrize("change", [shorter, in_pixels, in_one_path, in_a_group])
def test_the_same_shapes_in_other_words_are_no_edit(drawing, change):
    rewritten(drawing, change)
    assert edited(drawing) == set()


def test_layers_that_a_program_puts_into_a_group_of_its_own_are_no_edit(drawing):
    text = drawing.read_text()
    first, last = text.index('  <g id="', text.index("</g>")), text.index('  <g id="seams"')
    wrapped = f'{text[:first]}<g id="layer1">{text[first:last]}</g>{text[last:]}'
    drawing.write_text(wrapped)
    assert edited(drawing) == set()
    # ... unless it moves them, or holds something more.
    drawing.write_text(wrapped.replace('id="layer1"', 'id="layer1" transform="translate(1 0)"'))
    assert names(text) < edited(drawing)
    drawing.write_text(wrapped.replace('id="layer1">', 'id="layer1"><rect width="9" height="9"/>'))
    assert edited(drawing) == {"layer1"}


def names(text):
    return set(re.findall(r'<g id="([^"]*)"', text)) - {"photo", "seams"}


def test_a_node_that_was_moved_among_all_that_was_rewritten_is_the_only_edit(drawing):
    def change(group):
        shorter(group)
        if group.get("id") == "yellow":
            path = group[0]
            points = [float(v) for v in NUMBER.findall(path.get("d"))]
            path.set("d", path.get("d").replace(f"m{points[0]:g} ", f"m{points[0] + 0.5:g} ", 1))

    assert "yellow" in names(drawing.read_text())
    rewritten(drawing, change)
    assert edited(drawing) == {"yellow"}


@pytest.mark.parametrize(
    "edit",
    [
        lambda group: group.set("fill", "#123456"),
        lambda group: group.set("fill", "none"),
        lambda group: group.remove(max(group, key=lambda path: len(path.get("d")))),
        lambda group: group.append(
            ElementTree.Element(f"{SVG}rect", x="5", y="5", width="0.4", height="9")
        ),
        lambda group: group.set("transform", "translate(0 .3)"),
    ],
)
def test_other_paint_and_other_shapes_are_edits(drawing, edit):
    tree = ElementTree.parse(drawing)
    edit(next(g for g in tree.getroot().findall(f"{SVG}g") if g.get("id") == "white"))
    tree.write(drawing)
    assert edited(drawing) == {"white"}


def test_a_layer_drawn_anew_is_as_made_afterwards_and_the_artists_is_not(drawing):
    path = written(drawing.parent, "boat.svg", BOAT)
    text = drawing.read_text()
    recoloured = text.replace('id="blue" ', 'id="blue" opacity="0.5" ', 1)
    drawing.write_text(recoloured)
    words = ["layers", str(path), "--sheet-width-mm", "340", "-q", "--out", str(drawing.parent)]
    assert main([*words, "--only", "yellow", "--tolerance-mm", "0.6"]) == 0
    assert drawing.read_text() != recoloured
    assert edited(drawing) == {"blue"}
    assert main([*words, "--only", "blue"]) == 2
    drawing.write_text(drawing.read_text().replace('id="blue" opacity="0.5" ', 'id="blue" '))
    assert edited(drawing) == set()
