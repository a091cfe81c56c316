"""The sheet as PDF, where the library for it is installed (extra `pdf`)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sweeprig.errors import ExportError

HOW = "pip install 'sweeprig[pdf]', or open the HTML sheet in a browser and print it to PDF (A4)"


def write_pdf(html: str, path: Path) -> None:
    """Write a page made by `sheet_html` as PDF, A4.

    Raises ExportError where weasyprint or the libraries that it loads are missing, or the file cannot be written.
    """
    page = _library().HTML(string=html, url_fetcher=_refuse)
    try:
        page.write_pdf(str(path))
    except OSError as exc:
        raise ExportError(
            f"{path} cannot be written.", seen=str(exc), next_step="name another folder, or free the disk"
        ) from exc


def _library() -> Any:
    try:
        import weasyprint
    except (ImportError, OSError) as exc:  # OSError: installed, but a shared library that it loads is missing
        what = "The library for PDF is not usable here."
        raise ExportError(what, seen=str(exc).splitlines()[0], next_step=HOW) from exc
    return weasyprint


def _refuse(url: str, *args: object, **named: object) -> Any:
    """Fetch nothing: the sheet is self-contained."""
    del args, named
    raise ValueError(f"the sheet must not load {url}")
