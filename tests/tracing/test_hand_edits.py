from xml.etree import ElementTree

import pytest

from sheetstack.geometry.errors import JobError
from sheetstack.geometry.tracing.hand_edits import (
    NAMESPACES,
    check_untouched,
    digest,
    group_digest,
    read_drawing,
    with_groups,
)

PATHS = {"mid-tone": ["M0,0L9,0L9,9Z"], "shadow": ["M1,1L2,1L2,2Z", "M4,4L6,4L6,6Z"]}


def drawing(groups=PATHS, job=""):
    body = "".join(
        f'<g id="{name}" data-traced="{group_digest(PATHS[name])}">'
        + "".join(f'<path d="{d}"/>' for d in paths)
        + "</g>"
        for name, paths in groups.items()
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" data-traced-job="{job}">'
        f'<g id="photo" data-traced="no"><image href="x.jpg"/></g>{body}</svg>'
    )


def touched(text):
    groups = read_drawing(text.encode(), "a.svg").groups
    return {name for name, group in groups.items() if group.touched}


def test_a_drawing_as_it_was_traced_is_untouched():
    assert touched(drawing()) == set()


@pytest.mark.parametrize(
    "edit",
    [
        ('d="M4,4L6,4L6,6Z"', 'd="M4,4L7,4L6,6Z"'),  # a node moved
        ('<path d="M4,4L6,4L6,6Z"/>', ""),  # a shape deleted
        ('<path d="M4,4L6,4L6,6Z"/>', '<path d="M4,4L6,4L6,6Z" transform="scale(2)"/>'),
        ('<path d="M4,4L6,4L6,6Z"/>', '<path d="M4,4L6,4L6,6Z"/><rect x="1" width="3"/>'),
        ('<g id="shadow"', '<g id="shadow" transform="translate(1)"'),
    ],
)
def test_every_edit_of_a_groups_shapes_is_seen(edit):
    assert touched(drawing().replace(*edit)) == {"shadow"}


def test_what_a_drawing_program_adds_by_itself_is_no_edit():
    saved = drawing().replace("<path ", '<path id="path12" style="fill:#000" ')
    assert touched(saved) == set()


def test_a_group_of_the_artists_own_is_known_as_such():
    own = drawing().replace("</svg>", '<g id="mine"><path d="M0,0L1,0L1,1Z"/></g></svg>')
    assert touched(own) == {"mine"}


def test_a_changed_drawing_is_refused_in_one_sentence(tmp_path):
    (tmp_path / "layers.svg").write_text(drawing().replace("L2,2Z", "L3,3Z"))
    with pytest.raises(JobError, match=r"changed by hand: shadow; .*--only") as refused:
        check_untouched(tmp_path, "layers.svg", "job.toml")
    assert str(refused.value).count("\n") == 0


def test_a_changed_job_is_refused(tmp_path):
    (tmp_path / "layers.svg").write_text(drawing(job=digest("a = 1\n")))
    (tmp_path / "job.toml").write_text("a = 1\n")
    assert check_untouched(tmp_path, "layers.svg", "job.toml") is not None
    (tmp_path / "job.toml").write_text("a = 2\n")
    with pytest.raises(JobError, match=r"job\.toml: was changed by hand"):
        check_untouched(tmp_path, "layers.svg", "job.toml")


def test_only_what_is_asked_for_is_replaced_and_all_else_stays_byte_for_byte(tmp_path):
    text = drawing().replace("M0,0L9,0", "M0,0L8,0")  # the mid-tone edited by hand
    (tmp_path / "layers.svg").write_text(text)
    found = check_untouched(tmp_path, "layers.svg", "job.toml", ["shadow"])
    fresh = '<g id="shadow"><path d="M5,5L6,5L6,6Z"/></g>'
    result = with_groups(text.encode(), found, {"shadow": fresh}).decode()
    before, after = text.split('<g id="shadow"')[0], result.split('<g id="shadow"')[0]
    assert before == after
    assert "M5,5L6,5L6,6Z" in result
    assert "M4,4" not in result


def _without_unused_spaces(text):
    return text.replace(f' xmlns:inkscape="{NAMESPACES["inkscape"]}"', "")


def _with_prefixes(text):
    # As Python's own ElementTree writes what it has read: SVG's elements get a prefix.
    return ElementTree.tostring(ElementTree.fromstring(text), encoding="unicode")


@pytest.mark.parametrize("program", [_without_unused_spaces, _with_prefixes])
def test_a_group_put_into_what_another_program_wrote_has_its_namespaces(program):
    saved = program(drawing()).encode()
    fresh = '<g id="shadow" inkscape:label="Shadow"><path d="M7,7L8,7L8,8Z"/></g>'
    text = with_groups(saved, read_drawing(saved, "a.svg"), {"shadow": fresh})
    groups = {g.get("id"): g for g in ElementTree.fromstring(text).iter(f"{{{NAMESPACES['']}}}g")}
    assert sorted(groups) == ["mid-tone", "photo", "shadow"]
    assert groups["shadow"].get(f"{{{NAMESPACES['inkscape']}}}label") == "Shadow"
    (path,) = groups["shadow"]
    assert path.tag == f"{{{NAMESPACES['']}}}path"


def test_a_group_changed_by_hand_is_not_even_replaced_when_asked_for(tmp_path):
    (tmp_path / "layers.svg").write_text(drawing().replace("L2,2Z", "L3,3Z"))
    with pytest.raises(JobError, match="'shadow' was changed by hand"):
        check_untouched(tmp_path, "layers.svg", "job.toml", ["shadow"])


def test_a_document_type_with_entities_is_refused():
    bomb = '<!DOCTYPE svg [<!ENTITY a "b">]><svg xmlns="http://www.w3.org/2000/svg"/>'
    with pytest.raises(JobError, match="document type"):
        read_drawing(bomb.encode(), "a.svg")
