"""Mutations of sound inputs: by bytes, by words, by elements of a drawing, by keys of a job.

Each takes a ``random.Random`` and a text or bytes, and returns it changed, with what was done.
"""

from __future__ import annotations

import random
import re

NUMBERS = (
    *("0", "-0", "-1", "1e308", "-1e308", "1e-308", "1e400", "nan", "NaN", "inf", "-inf", "1e-12"),
    *("1e-7", "1e-6", "0.000999", "65536", "2147483648", "1e9", "1e6", "99999999999999999999"),
    *("0x10", "1.2.3", "--5", "5e", ".", "+.5", "\u0663", "1_000", "", "1e5", "0.1", "3", "100%"),
)
WORDS = (
    *(
        "none",
        "inherit",
        "url(#a)",
        "url(#nothing)",
        "currentColor",
        "#000",
        "#12345",
        "red",
        "evenodd",
    ),
    *(
        "nonzero",
        "hidden",
        "\u202eabc",
        "\u0000",
        "a\nb",
        "<script>alert(1)</script>",
        "'; --",
        "&amp;",
    ),
    *("\u2028", "\U0001f3a8", "../../etc/passwd", "var(--x, red)", "calc(1px + 2%)", "x" * 400),
    *(
        "rotate(1e9)",
        "scale(0)",
        "scale(1e-9)",
        "matrix(1 0 0 0 0 0)",
        "skewX(90)",
        "translate(nan)",
    ),
)
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_WORD = re.compile(r"[A-Za-z#][\w#.:-]*")


def by_bytes(rng: random.Random, data: bytes) -> tuple[bytes, str]:
    """Return data with some bytes changed, and what was done."""
    data = bytearray(data)
    how = rng.choice(["flip", "delete", "insert", "repeat", "truncate", "zero", "shuffle"])
    at = rng.randrange(len(data) + 1)
    length = min(int(2 ** rng.uniform(0, 9)), max(1, len(data) - at))
    if how == "flip":
        for _ in range(rng.randint(1, 8)):
            if data:
                data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    elif how == "delete":
        del data[at : at + length]
    elif how == "insert":
        data[at:at] = rng.randbytes(length)
    elif how == "repeat":
        data[at:at] = data[at : at + length] * rng.randint(1, 200)
    elif how == "truncate":
        del data[at:]
    elif how == "zero":
        data[at : at + length] = bytes(len(data[at : at + length]))
    else:
        part = data[at : at + length]
        rng.shuffle(part)
        data[at : at + length] = part
    return bytes(data), f"bytes: {how} {length} at {at}"


def by_words(rng: random.Random, text: str, within: str = "") -> tuple[str, str]:
    """Return a text with numbers or words changed, and what was done.

    Mostly in what matches the pattern ``within``, so that the text's grammar is kept.
    """
    pattern, pool = (_NUMBER, NUMBERS) if rng.random() < 0.7 else (_WORD, WORDS)
    found = list(pattern.finditer(text))
    if within and rng.random() < 0.9:
        inside = [match.span() for match in re.finditer(within, text)]
        found = [m for m in found if any(a <= m.start() and m.end() <= b for a, b in inside)]
    if not found:
        return text, "words: none"
    done = []
    for match in sorted(
        rng.sample(found, min(len(found), rng.choice([1, 1, 2, 5]))), key=lambda m: -m.start()
    ):
        how = rng.choice(["hurtful", "hurtful", "other", "nudge", "away", "twice"])
        old = match[0]
        if how == "hurtful":
            new = rng.choice(pool)
        elif how == "other":
            new = rng.choice(found)[0]
        elif how == "nudge" and pattern is _NUMBER:
            new = repr(float(old) + 10 ** rng.uniform(-12, 2) * rng.choice([-1, 1]))
        elif how == "away":
            new = ""
        else:
            new = f"{old} {old}"
        text = text[: match.start()] + new + text[match.end() :]
        done.append(f"{old[:20]}->{new[:20]!r}")
    return text, f"words: {', '.join(done)}"


WRAPPERS = (
    *(("g", 'transform="scale(1e-4)"'), ("g", 'opacity="0"'), ("mask", 'id="m"')),
    *(("pattern", 'id="p" width="5" height="5"'), ("clipPath", 'id="q"'), ("marker", 'id="r"')),
    *(("foreignObject", ""), ("switch", ""), ("g", 'style="fill:none;stroke:red"')),
    *(("g", 'transform="rotate(45) scale(-1 1)"'), ("svg", 'x="10" viewBox="0 0 1 1"')),
    *(("g", 'filter="url(#f)"'), ("g", 'mask="url(#m)"'), ("a", 'href="javascript:1"')),
)


def by_elements(rng: random.Random, text: str) -> tuple[str, str]:
    """Change the tree of elements as text: repeat, move, wrap, nest, drop an attribute."""
    tags = list(re.finditer(r"<(\w+)\b[^>]*/>", text))
    if not tags:
        return text, "elements: none"
    tag = rng.choice(tags)
    how = rng.choice(["repeat", "wrap", "move", "drop", "attribute", "refer to itself"])
    if how == "repeat":
        new = tag[0] * rng.choice([2, 3, 50, 400])
    elif how == "wrap":
        name, more = rng.choice(WRAPPERS)
        depth = rng.choice([1, 1, 1, 5, 80])
        new = f"<{name} {more}>" * depth + tag[0] + f"</{name}>" * depth
    elif how == "move":
        other = rng.choice(tags)
        new = other[0]
    elif how == "drop":
        new = ""
    elif how == "attribute":
        attributes = re.findall(r'\s[\w:-]+="[^"]*"', tag[0])
        new = tag[0].replace(rng.choice(attributes), "", 1) if attributes else tag[0]
    else:
        new = tag[0].replace(f"<{tag[1]}", f'<g id="self"><use href="#self"/></g><{tag[1]}', 1)
    return text[: tag.start()] + new + text[tag.end() :], f"elements: {how} {tag[1]}"


NAMES = (
    *("", " ", "a/b", "..", "CON", "x" * 300, "\u00e9" * 200, "\U0001f3a8" * 90, "a\\nb", "a\\tb"),
    *(
        "\\u202eabc",
        "<script>alert(1)</script>",
        "\\u0007",
        "\\u2028",
        "%s%n",
        "-rf",
        "a:b*c?",
        "layer",
    ),
    *("\\u0000", "Mid-tone", "\\\\", '\\"', "\\u200bx", "\\ud7ff", "&lt;"),
)
PATHS = (
    *("nothing.svg", ".", "/dev/null", "/dev/zero", "../../etc/passwd", "job.toml", "", "x" * 4000),
    *(
        "a\\nb.svg",
        "\\u202egvs.svg",
        "drawing.svg/",
        "drawing.svg\\u0000",
        "~/x.svg",
        "http://x/y.svg",
    ),
)
VALUES = (
    *("true", "-1", "0", "1e308", "nan", "inf", "-inf", '"text"', "[]", "[[]]", "{}", "[1, 2, 3]"),
    *(
        "1979-05-27",
        "1e-9",
        "99999999999999999999999",
        "[[[0,0]]]",
        "[[[0,0],[nan,1]]]",
        "0.3",
        "200",
    ),
    *("[[[1e9, 0], [0, 1e9]]]", '"#000"', '"evening"', "100", "2000", "0.01", "[[60,60]]", "40"),
)


def by_keys(rng: random.Random, text: str) -> tuple[str, str]:
    """Change a job file by its lines: values, names, paths, keys and tables."""
    lines = text.splitlines()
    keyed = [k for k, line in enumerate(lines) if "=" in line]
    if not keyed:
        return text, "keys: none"
    at = rng.choice(keyed)
    key = lines[at].split("=")[0].strip()
    how = rng.choice(
        ["value", "value", "name", "path", "drop", "twice", "unknown", "table", "more"]
    )
    if how == "value":
        lines[at] = f"{key} = {rng.choice(VALUES)}"
    elif how == "name":
        named = [
            k for k in keyed if lines[k].startswith(("name", "title", "group", "role", "layer"))
        ]
        at = rng.choice(named or keyed)
        key = lines[at].split("=")[0].strip()
        lines[at] = f'{key} = "{rng.choice(NAMES)}"'
    elif how == "path":
        at = rng.choice([k for k in keyed if lines[k].startswith("artwork")] or keyed)
        lines[at] = f'artwork = "{rng.choice(PATHS)}"'
    elif how == "drop":
        del lines[at]
    elif how == "twice":
        lines.insert(at, lines[at])
    elif how == "unknown":
        lines.insert(at, f"{key}x = {rng.choice(VALUES)}")
    elif how == "table":
        # Earlier changes may have left no table.
        tables = [k for k, line in enumerate(lines) if line.startswith("[")] or [at]
        at = rng.choice(tables)
        lines[at] = rng.choice(
            ["", "[nothing]", lines[rng.choice(tables)], "[[sheet]]", "[layers]"]
        )
    else:
        block = lines[lines.index("[[layers]]") :] if "[[layers]]" in lines else lines
        lines += block * rng.choice([1, 5, 40])
    return "\n".join(lines) + "\n", f"keys: {how} {lines[min(at, len(lines) - 1)][:60]}"
