"""The sheet as PDF, where the library for it is installed (extra `pdf`)."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

from sweeprig.errors import ExportError
from sweeprig.report.own_files import PDF_END

LIBRARIES = "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"  # Debian's packages
HOW = "pip install 'sweeprig[pdf]', or open the HTML sheet in a browser and print it to PDF (A4)"


def write_pdf(html: str, path: Path) -> None:
    """Write a page made by `sheet_html` as PDF, A4.

    Raises ExportError where weasyprint or the libraries that it loads are missing, or the file cannot be written.
    """
    weasyprint = _library()
    nothing = weasyprint.urls.URLFetcher(allowed_protocols=())  # the sheet is self-contained: fetch nothing
    page = weasyprint.HTML(string=html, url_fetcher=nothing)
    try:
        page.write_pdf(str(path))
        with path.open("ab") as file:
            file.write(PDF_END)
    except OSError as exc:
        raise ExportError(
            f"{path} cannot be written.",
            seen=str(exc),
            next_step="name another folder, or free some disk space",
        ) from exc


def _library() -> Any:
    what = "The PDF library cannot be used here."
    try:
        with warnings.catch_warnings():  # without libharfbuzz-subset0 it warns, and works all the same
            warnings.filterwarnings("ignore", message="HarfBuzz", category=DeprecationWarning)
            import weasyprint
            import weasyprint.urls
    except ImportError as exc:
        raise ExportError(what, seen=str(exc).splitlines()[0], next_step=HOW) from exc
    except OSError as exc:  # installed, but a shared library that it loads is missing
        how = (
            f"apt install {LIBRARIES} (Debian and similar), or open the HTML sheet in a browser and print it"
        )
        raise ExportError(what, seen=str(exc).splitlines()[0], next_step=how) from exc
    if not hasattr(weasyprint.urls, "URLFetcher"):
        seen = f"weasyprint {weasyprint.__version__}"
        raise ExportError(what, seen=seen, limit="weasyprint 68 or newer", next_step=HOW)
    return weasyprint
