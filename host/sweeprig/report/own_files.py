"""Checks whether an existing file is a sheet or export of this program: only such a file may be replaced."""

from __future__ import annotations

from pathlib import Path

from sweeprig.errors import ExportError

MARK = b"sweeprig"
PDF_END = b"%" + MARK + b"\n"  # a comment behind the last line of a PDF
PAGE_HEAD = (
    b"default-src 'none'; style-src 'unsafe-inline'; img-src data:"  # stands in the head of every page
)
TABLES = (b"time_s,signal_v", b"record,capture_sha256,captured_at,")  # how the tables' first lines begin
TRACE_END = b",missing_before"  # and how that of a trace ends
RESULT, RECORDS, NO_RECORDS = b'{\n  "schema_version": ', b'[\n  {\n    "id": ', b"[]\n"
LOOK = 4096  # bytes at either end
KEPT = (".sweep", ".journal")  # endings of files that nothing here may replace


def check_place(path: Path) -> None:
    """Raise ExportError for the name of a capture or a journal, and for a file that is no sheet or export of ours.

    A link may be replaced, whatever it leads to: the file that it leads to stays.
    """
    seen = ""
    if path.suffix.lower() in KEPT:
        seen = f"a name that ends in {path.suffix.lower()}: captures are kept"
    elif path.is_file() and not path.is_symlink() and not is_own(path):
        seen = "a file that this program did not write as a sheet or an export"
    if seen:
        raise ExportError(
            f"{path} is not replaced.",
            seen=seen,
            limit="a new file, or an earlier sheet or export",
            next_step="give another name or folder, or move the file away",
        )


def is_own(path: Path) -> bool:
    """Return whether a file is empty, or was written here as a sheet or an export; one that cannot be read is not."""
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(LOOK)
            file.seek(max(0, size - LOOK))
            tail = file.read(LOOK)
            if head.startswith(b"MDF"):
                file.seek(0)
                return MARK in file.read()
    except OSError:
        return False
    return not size or PAGE_HEAD in head or tail.endswith(PDF_END) or _is_table(head) or _is_json(head)


def _is_json(head: bytes) -> bool:
    records = head.startswith(RECORDS) and b'"created": ' in head
    return head.startswith(RESULT) or records or head == NO_RECORDS


def _is_table(head: bytes) -> bool:
    line = head.partition(b"\r\n")[0]
    return line.startswith(TABLES[1]) or (line.startswith(TABLES[0]) and line.endswith(TRACE_END))
