"""Names that are scripts, shown by a browser: pages and drawings run nothing and load nothing.

Judge: Chromium (Debian's ``chromium``, or the path in ``SHEETSTACK_BROWSER``) reads each file as a
client's browser would, runs what it finds and gives back the document as it then is.
"""

import os
import shutil
import subprocess
from html.parser import HTMLParser

import pytest

from sheetstack.geometry import build_job, load_job
from sheetstack.geometry.cli.main import main
from sheetstack.geometry.report.client_html import client_html

BROWSER = os.environ.get("SHEETSTACK_BROWSER") or shutil.which("chromium")
pytestmark = pytest.mark.skipif(not BROWSER, reason="needs the browser Chromium")

#: Each would set the page's title if a browser took it for more than a name.
RUN = "document.title=1"
ATTACKS = (
    f"<script>{RUN}</script>",
    f'"><img src=x onerror="{RUN}">',
    f"'><svg onload='{RUN}'></svg>",
    f"</style></title></text><script>{RUN}</script>",
    f"--><script>{RUN}</script>",
    f"]]><script>{RUN}</script>",
    f"&lt;script&gt;{RUN}&lt;/script&gt;",
)


class Seen(HTMLParser):
    """What in a document runs, or is loaded from elsewhere."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attributes):
        if tag in ("script", "iframe", "object", "embed", "foreignobject", "base", "meta"):
            named = dict(attributes)
            if tag != "meta" or "http-equiv" in named:
                self.found.append(tag)
        for name, value in attributes:
            told = (value or "").strip().lower()
            if name.startswith("on") or told.startswith(("javascript:", "vbscript:", "data:text")):
                self.found.append(f"{tag} {name}={told[:60]}")
            if name in ("src", "xlink:href") and not told.startswith(("data:image/", "#")):
                self.found.append(f"{tag} {name}={told[:60]}")


def as_shown(page, tmp_path):
    """Return a document after a browser has read it."""
    command = [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
    command += [f"--user-data-dir={tmp_path / 'profile'}", "--virtual-time-budget=1000"]
    shown = subprocess.run(
        [*command, "--dump-dom", page.as_uri()],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    return shown.stdout


def faults(document):
    seen = Seen()
    seen.feed(document)
    return [*seen.found, *(["ran"] if "<title>1</title>" in document else [])]


def quoted(text):
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def write_job(folder, attack):
    name = quoted(attack)
    # An id with an error in its path is named by a finding.
    ident = attack.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
    (folder / "art.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 60">'
        f'<path id="{ident}" fill-rule="evenodd" d="M5 5h40v40h-40z M15 15h9v9h-9z L x"/></svg>'
    )
    (folder / "job.toml").write_text(
        f'title = {name}\n[sheet]\nwidth_mm = 140\nheight_mm = 140\nmaterial = "mine"\n'
        f"thickness_mm = 0.4\n[materials.mine]\ntitle = {name}\nthicknesses_mm = [0.4]\n"
        "density_g_cm3 = 1\nmodulus_mpa = 2000\nstrength_mpa = 20\nleast_bridge_mm = 2\n"
        f'least_opening_mm = 1\ncolour = "#cccccc"\nsource = {name}\ncare = {name}\n'
        f'laser_note = {name}\n[process]\nkind = "laser"\nbed_width_mm = 100\nbed_height_mm = 90\n'
        f'[[layers]]\nname = {name}\nrole = {name}\ncolour = "#203040"\nartwork = "art.svg"\n'
        "scale = 5\n"
    )
    (folder / "studio.toml").write_text(
        f"[artist]\nname = {name}\ncontact = {name}\ntax_number = {name}\n[offer]\n"
        f"client = {name}\nplace = {name}\npermission = {name}\ndone = {name}\nnot_done = {name}\n"
        f'[paint]\nwear = {name}\ntools = {name}\n[[cans]]\nname = {name}\ncolour = "#203040"\n'
        f"code = {name}\n"
    )
    return folder / "job.toml"


def test_the_browser_runs_what_is_not_escaped(tmp_path):
    for number, attack in enumerate(ATTACKS[:2]):
        page = tmp_path / f"{number}.html"
        page.write_text(f'<!DOCTYPE html><title>a</title><p title="">{attack}</p>')
        assert faults(as_shown(page, tmp_path))
        assert "<title>1</title>" in as_shown(page, tmp_path)


@pytest.mark.parametrize("attack", [f"javascript:{RUN}", " ".join(ATTACKS)], ids=["link", "all"])
def test_pages_and_drawings_run_nothing(tmp_path, attack):
    job = write_job(tmp_path, attack)
    assert main(["build", str(job), "--quiet", "--out", str(tmp_path / "b")]) in (0, 1)
    assert main(["export", str(job), "--quiet", "--nest", "--out", str(tmp_path / "e")]) in (0, 1)
    studio = ["--studio", str(tmp_path / "studio.toml")]
    assert main(["offer", str(job), "--quiet", *studio, "--out", str(tmp_path / "o")]) == 0
    client = tmp_path / "client.html"
    client.write_text(client_html(build_job(load_job(job))), encoding="utf-8")
    pages = [client, *tmp_path.glob("*/*.html"), *tmp_path.glob("*/*.svg")]
    assert {"report.html", "offer.html"} <= {page.name for page in pages}
    assert len(pages) > 6
    for page in pages:
        assert faults(page.read_text(encoding="utf-8")) == [], page.name
    # The browser takes its time to begin: one drawing of each folder is enough of their kind.
    for page in [*tmp_path.glob("*.html"), *tmp_path.glob("*/*.html"), *one_of_each(tmp_path)]:
        assert faults(as_shown(page, tmp_path)) == [], page.name


def one_of_each(folder):
    return [sorted(inner.glob("*.svg"))[-1] for inner in (folder / "b", folder / "e")]
