"""Public docstrings: they name the parameters that there are, and say what is raised."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

TOP = Path(__file__).parents[1]
FILES = sorted([*(TOP / "geometry").rglob("*.py"), *(TOP / "addon").rglob("*.py")])

# Blender calls these, with parameters that its own documentation explains.
CALLED_BY_BLENDER = {
    "cancel", "description", "draw", "draw_header", "draw_item", "draw_prepare", "draw_settings",
    "execute", "exit", "invoke", "modal", "poll", "refresh", "setup", "test_select",
}  # fmt: skip

# An operator's own halves of LongWork, which says what they are.
OF_LONG_WORK = {"work", "parts", "done"}

AS_ANOTHER = re.compile(r"Parameters[\w ,]* are those of\s+:func:")

# What one of two or fewer parameters raises may be said in a sentence.
SAYS_SO = re.compile(r"^Raises$|\b[Rr]aises?\b|\b[Ee]rrors[\w ,]* are those of", re.MULTILINE)


def public_functions(path: Path) -> Iterator[tuple[str, ast.FunctionDef]]:
    """Yield each public function and method of a file, with its name."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    rooms = [("", tree), *((n.name + ".", n) for n in tree.body if isinstance(n, ast.ClassDef))]
    for prefix, room in rooms:
        for node in room.body:
            if not isinstance(node, ast.FunctionDef) or node.name in CALLED_BY_BLENDER:
                continue
            if prefix.startswith("SHEETSTACK_OT_") and node.name in OF_LONG_WORK:
                continue
            if not prefix.startswith("_") and not node.name.startswith("_"):
                yield prefix + node.name, node


def parameters(node: ast.FunctionDef) -> list[str]:
    """Return the names of a function's parameters, without ``self``."""
    given = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    names = [a.arg for a in given if a.arg not in ("self", "cls")]
    return names + [a.arg for a in (node.args.vararg, node.args.kwarg) if a is not None]


def described(text: str) -> list[str]:
    """Return the names that a Parameters section of numpydoc describes."""
    found = re.search(r"^Parameters\n-{10}\n(.*?)(?=\n\n\w+\n---|\Z)", text, re.DOTALL | re.M)
    lines = found.group(1).split("\n") if found else []
    heads = [line.split(" : ")[0] for line in lines if line and not line.startswith(" ")]
    return [name.strip("* ") for head in heads for name in head.split(",")]


def raises(node: ast.FunctionDef) -> bool:
    """Return whether a function itself raises something else than what it has just caught."""
    return any(
        isinstance(n, ast.Raise)
        and n.exc is not None
        and "NotImplementedError" not in ast.unparse(n.exc)
        for n in ast.walk(node)
    )


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.relative_to(TOP).as_posix())
def test_public_functions_say_what_they_take_and_raise(path):
    wrong = []
    for name, node in public_functions(path):
        text = ast.get_docstring(node) or ""
        names, told = parameters(node), described(text)
        if not text:
            wrong.append(f"{name}: has no docstring")
        wanted = len(names) >= 3 and not AS_ANOTHER.search(text)
        if (wanted or told) and sorted(told) != sorted(names):
            wrong.append(f"{name}: takes {names}, describes {told}")
        if raises(node) and not SAYS_SO.search(text):
            wrong.append(f"{name}: does not say what it raises")
    assert not wrong


def test_the_check_sees_what_is_missing():
    (node,) = ast.parse('def f(a, b, c):\n    """Do."""\n    raise ValueError("no")').body
    assert parameters(node) == ["a", "b", "c"]
    assert raises(node)
    assert not SAYS_SO.search(ast.get_docstring(node))
    assert described("Do.\n\nParameters\n----------\na, b : int\n    In mm.\n*c : str") == [
        "a", "b", "c",
    ]  # fmt: skip
    assert sum(1 for path in FILES for _ in public_functions(path)) > 1000
