"""The sheet on paper and on screens: real Chromium, weasyprint, pypdf, and the contrast formula of WCAG 2.1."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import threading
from functools import partial
from html import unescape
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from pathlib import Path

import pytest
from pypdf import PdfReader

from support import outcomes as oc
from support.report_cases import LONG_NAMES, cases, long_named
from sweeprig.errors import ExportError
from sweeprig.report import svg
from sweeprig.report.own_files import PDF_END
from sweeprig.report.pdf import write_pdf
from sweeprig.report.sheet import sheet_html

WIDTHS = {"screen": 1280, "tablet": 820, "phone": 390, "small phone": 320}
A4_PT = (595.28, 841.89)  # ISO 216: 210 mm x 297 mm
LIMIT_S = 240  # for a loaded machine; a run takes a few seconds

# Measures each page inside a frame of a given width: what sticks out, what scripts or images there are.
PROBE = """<!DOCTYPE html><meta charset="utf-8"><title>probe</title><body><script>
const jobs = JOBS;
const found = [];
async function measure(name, width) {
  const frame = document.createElement("iframe");
  frame.style.cssText = `width:${width}px;height:900px;border:0`;
  frame.src = `/${name}.html?${width}`;
  document.body.append(frame);
  await new Promise(done => frame.onload = done);
  const page = frame.contentDocument, root = page.documentElement;
  const out = [...page.querySelectorAll("body *")].filter(e => !e.closest(".scroll") && !e.closest("svg")
    && e.getBoundingClientRect().right > width + 1).map(e => `${e.tagName}.${e.className}`).slice(0, 5);
  const words = e => [...e.querySelectorAll("text")].filter(t => {
    const a = t.getBoundingClientRect(), b = e.getBoundingClientRect();
    return b.width > 0 && (a.right > b.right + 1.5 || a.left < b.left - 1.5 || a.bottom > b.bottom + 1.5
      || a.top < b.top - 1.5);
  }).map(t => t.textContent);
  found.push({name, width, scroll: root.scrollWidth, out, title: page.title,
    cut: [...page.querySelectorAll("svg")].flatMap(words), active: page.querySelectorAll("script,img,iframe").length,
    main: page.querySelector("#main").getBoundingClientRect().width, rows: page.querySelectorAll("tr").length});
  frame.remove();
}
(async () => {
  for (const [name, width] of jobs) await measure(name, width);
  document.body.innerHTML = "";
  document.body.append(Object.assign(document.createElement("pre"), {id: "found", textContent: JSON.stringify(found)}));
})();
</script>"""


class Site:
    """The pages on a local address, with a list of all that was asked for."""

    def __init__(self, pages: dict[str, str]) -> None:
        self.asked: list[str] = []
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Answer, pages, self.asked))
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.server.server_port}"


class _Answer(BaseHTTPRequestHandler):
    def __init__(self, pages: dict[str, str], asked: list[str], *rest: object) -> None:
        self.pages, self.asked = pages, asked
        super().__init__(*rest)  # type: ignore[arg-type]

    def do_GET(self) -> None:
        self.asked.append(self.path)
        page = self.pages.get(self.path.split("?")[0])
        self.send_response(200 if page else 404)
        self.send_header("Content-Type", "text/html; charset=utf-8")
        self.end_headers()
        self.wfile.write((page or "").encode())

    def log_message(self, *_: object) -> None:
        return


def chromium(tmp: Path, *options: str) -> str:
    """Run Chromium without a window; return what it printed."""
    fixed = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync", f"--user-data-dir={tmp / 'profile'}")  # fmt: skip
    run = subprocess.run(["chromium", *fixed, *options], capture_output=True, timeout=LIMIT_S, check=True)
    return run.stdout.decode()


@pytest.fixture(scope="module")
def html() -> dict[str, str]:
    return {name: sheet_html(outcome) for name, outcome in cases().items()}


@pytest.fixture(scope="module")
def measured(html: dict[str, str], tmp_path_factory: pytest.TempPathFactory) -> tuple[list[dict], list[str]]:
    jobs = [(name, width) for name in html for width in WIDTHS.values()]
    site = Site(
        {f"/{name}.html": text for name, text in html.items()}
        | {"/": PROBE.replace("JOBS", json.dumps(jobs))}
    )
    options = ("--virtual-time-budget=60000", "--dump-dom", f"{site.address}/")
    text = chromium(tmp_path_factory.mktemp("chromium"), *options)
    site.server.shutdown()
    site.server.server_close()
    shown = re.search(r'<pre id="found">(.*)</pre>', text, re.S)
    assert shown, text[-500:]
    return json.loads(unescape(shown[1])), site.asked


def _has_arial_widths() -> bool:
    """Whether the machine has Arial or a font of its widths: the sheet is laid out for them."""
    found = shutil.which("fc-match")
    if found is None:
        return False
    named = subprocess.run([found, "Arial"], capture_output=True, text=True, check=False).stdout
    return "Liberation" in named or "Arial" in named


arial_widths = pytest.mark.skipif(
    not _has_arial_widths(), reason="no font with the widths of Arial: apt-get install fonts-liberation"
)


@arial_widths
@pytest.mark.chromium
def test_nothing_sticks_out_at_any_width(measured: tuple[list[dict], list[str]]) -> None:
    found, _ = measured
    assert len(found) == len(cases()) * len(WIDTHS)
    assert [(p["name"], p["width"], p["out"]) for p in found if p["out"] or p["scroll"] > p["width"]] == []
    assert {p["main"] for p in found if p["width"] == 1280} == {1000}
    assert min(p["rows"] for p in found) > 10


@arial_widths
@pytest.mark.chromium
def test_no_word_of_a_drawing_is_cut_off(measured: tuple[list[dict], list[str]]) -> None:
    found, _ = measured
    assert [(p["name"], p["width"], p["cut"]) for p in found if p["cut"]] == []


@pytest.mark.chromium
def test_nothing_is_fetched_and_nothing_runs(measured: tuple[list[dict], list[str]]) -> None:
    found, asked = measured
    wanted = {f"/{p['name']}.html?{p['width']}" for p in found}
    assert set(asked) - wanted <= {"/", "/favicon.ico"}  # the icon of the probe itself
    assert all(p["active"] == 0 for p in found)
    assert {p["title"].split(":")[0] for p in found} == {"Pass", "Fail", "Undecided"}


def _printed(tmp: Path, text: str) -> PdfReader:
    (tmp / "a.html").write_text(text, encoding="utf-8")
    chromium(tmp, "--no-pdf-header-footer", f"--print-to-pdf={tmp / 'a.pdf'}", (tmp / "a.html").as_uri())
    return PdfReader(tmp / "a.pdf")


def _words(text: str) -> str:
    return " ".join(text.split())


@arial_widths
@pytest.mark.chromium
@pytest.mark.parametrize(
    "name",
    [
        "good",
        "worn",
        "two-tracks",
        "vehicle",
        "unknown",
        "wiggle",
        "judged",
        "remarked",
        "hostile",
        "huge",
        "fixed-mount",
        "owned",
        "track-b-worn",
        "loose",
    ],
)
def test_the_main_page_is_one_a4(html: dict[str, str], name: str, tmp_path: Path) -> None:
    pages = _printed(tmp_path, html[name]).pages
    assert (float(pages[0].mediabox.width), float(pages[0].mediabox.height)) == pytest.approx(A4_PT, abs=1)
    first = _words(pages[0].extract_text())
    assert "Position sensor test report" in first or "Wiggle test report" in first
    assert "Capture SHA-256" in first  # the last line of the main page
    if name in ("good", "fixed-mount", "owned"):
        assert len(pages) == 1
    else:
        assert "Verdict in full" in _words(pages[1].extract_text())


@pytest.fixture
def pdf_library() -> None:
    """Skip where the libraries that weasyprint loads are missing."""
    from sweeprig.report.pdf import _library

    try:
        _library()
    except ExportError as problem:
        pytest.skip(f"no PDF here: {problem}")


@pytest.mark.usefixtures("pdf_library")
def test_the_plain_case_is_one_a4_as_pdf(tmp_path: Path) -> None:
    write_pdf(sheet_html(oc.outcome()), tmp_path / "a.pdf")
    reader = PdfReader(tmp_path / "a.pdf")
    assert len(reader.pages) == 1
    page = reader.pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(A4_PT, abs=1)
    text = _words(page.extract_text())
    for shown in ("Pass", "0.452 V", "4.482 V", "25 % calculated", "SHA-256"):
        assert shown in text


@pytest.mark.usefixtures("pdf_library")
@pytest.mark.parametrize(
    "name", ["worn", "angle", "vehicle", "remarked", "fixed-mount", "owned", "track-b-worn", "loose"]
)
def test_the_main_page_is_one_a4_as_pdf(name: str, tmp_path: Path) -> None:
    write_pdf(sheet_html(cases()[name]), tmp_path / "a.pdf")
    first = _words(PdfReader(tmp_path / "a.pdf").pages[0].extract_text())
    assert "Capture SHA-256" in first or "No capture file" in first  # the last line of the main page


@pytest.mark.usefixtures("pdf_library")
@pytest.mark.parametrize("name", ["good", "vehicle", "remarked", "track-b-worn", "loose"])
def test_long_names_stand_whole_on_one_a4_as_pdf(name: str, tmp_path: Path) -> None:
    made = long_named(cases()[name])
    write_pdf(sheet_html(made), tmp_path / "a.pdf")
    first = _words(PdfReader(tmp_path / "a.pdf").pages[0].extract_text())
    assert "Capture SHA-256" in first
    assert [text for text in LONG_NAMES.values() if text not in first] == []
    assert f"Signature: {LONG_NAMES['operator']}" in first
    assert "\N{HORIZONTAL ELLIPSIS}" not in first


@arial_widths
@pytest.mark.chromium
def test_long_names_stand_whole_on_one_a4_as_printed(tmp_path: Path) -> None:
    pages = _printed(tmp_path, sheet_html(long_named(cases()["track-b-worn"]))).pages
    first = _words(pages[0].extract_text())
    assert "Capture SHA-256" in first
    assert [text for text in LONG_NAMES.values() if text not in first] == []


@pytest.mark.usefixtures("pdf_library")
def test_pdf_fetches_nothing(tmp_path: Path) -> None:
    site = Site({})
    (tmp_path / "a.css").write_text("p { page-break-before: always }")
    sheet = f'<link rel="stylesheet" href="{(tmp_path / "a.css").as_uri()}">'
    hostile = f'{sheet}<p>a</p><img src="{site.address}/x.png"><p>b</p>'
    write_pdf(hostile, tmp_path / "a.pdf")
    site.server.shutdown()
    site.server.server_close()
    assert site.asked == []
    assert len(PdfReader(tmp_path / "a.pdf").pages) == 1  # the style was not read


@pytest.fixture
def another_library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A weasyprint of our own, to be written, instead of the real one."""
    for name in [name for name in sys.modules if name.split(".")[0] == "weasyprint"]:
        monkeypatch.delitem(sys.modules, name)
    (tmp_path / "weasyprint").mkdir()
    monkeypatch.syspath_prepend(tmp_path)
    return tmp_path / "weasyprint"


def test_a_missing_shared_library_is_named_by_its_package(another_library: Path, tmp_path: Path) -> None:
    (another_library / "__init__.py").write_text("raise OSError('cannot load library libpango-1.0-0')")
    with pytest.raises(ExportError, match=r"libpango.*apt install libpango-1.0-0 .*libharfbuzz-subset0"):
        write_pdf("<p>", tmp_path / "a.pdf")


def test_a_warning_for_later_versions_stops_no_sheet(another_library: Path, tmp_path: Path) -> None:
    warns = "import warnings\nwarnings.warn('HarfBuzz-Subset will be required', DeprecationWarning)\n"
    page = "class HTML:\n def __init__(self, string, url_fetcher): self.text = string\n"
    page = f"from pathlib import Path\n{page} def write_pdf(self, path): Path(path).write_text(self.text)\n"
    (another_library / "__init__.py").write_text(warns + page)
    (another_library / "urls.py").write_text("class URLFetcher:\n def __init__(self, **_): pass\n")
    write_pdf("<p>", tmp_path / "a.pdf")
    assert (tmp_path / "a.pdf").read_bytes() == b"<p>" + PDF_END


def test_without_the_library_the_way_out_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(
        ExportError, match=r"pip install 'sweeprig\[pdf\]', or open the HTML sheet in a browser"
    ):
        write_pdf("<p>", tmp_path / "a.pdf")


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1 (W3C Recommendation), definition in its glossary [memory]."""
    short = colour.removeprefix("#")
    pairs = [c * 2 for c in short] if len(short) == 3 else [short[i : i + 2] for i in (0, 2, 4)]
    parts = [int(p, 16) / 255 for p in pairs]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_every_text_is_readable_in_black_and_white() -> None:
    # WCAG 2.1 success criterion 1.4.3: 4.5:1; luminance is what a black-and-white printer keeps of a colour
    css = resources.files("sweeprig.report").joinpath("templates/sheet.css").read_text(encoding="utf-8")
    colours = set(re.findall(r"(?<![-\w])color: (#[0-9a-f]{3,6})", css)) - {"#fff"}
    assert len(colours) >= 4
    for colour in colours | {svg.INK, svg.MUTED, svg.SIGNAL, svg.SECOND, svg.ALARM}:
        assert _contrast(colour, "#ffffff") >= 4.5, colour
    assert _contrast("#7d1710", "#ffffff") >= 4.5
    assert "background: #7d1710" in css  # behind the white word Fail
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
