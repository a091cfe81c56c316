"""Sheets and exports of one outcome, as files."""

from __future__ import annotations

import json
from collections.abc import Callable
from os.path import realpath
from pathlib import Path

from sweeprig.bench.review.result import to_result
from sweeprig.errors import InputError
from sweeprig.judge.outcome import Outcome

KINDS = ("html", "pdf", "csv", "json", "mdf")
ENDINGS = {"html": ".html", "pdf": ".pdf", "csv": ".csv", "json": ".json", "mdf": ".mf4"}


def write_html(outcome: Outcome, path: Path) -> None:
    """Write the sheet as one page of HTML."""
    from sweeprig.report.exports import into
    from sweeprig.report.sheet import sheet_html

    data = sheet_html(outcome).encode("utf-8")
    into(path, lambda part: part.write_bytes(data))


def write_sheet_pdf(outcome: Outcome, path: Path) -> None:
    """Write the sheet as PDF."""
    from sweeprig.report.exports import into
    from sweeprig.report.pdf import write_pdf
    from sweeprig.report.sheet import sheet_html

    html = sheet_html(outcome)
    into(path, lambda part: write_pdf(html, part))


def write_page(path: Path, html: str) -> None:
    """Write a page, as PDF where the file's name ends so, else as HTML."""
    from sweeprig.report.exports import into
    from sweeprig.report.pdf import write_pdf

    if path.suffix.lower() == ".pdf":
        into(path, lambda part: write_pdf(html, part))
        return
    into(path, lambda part: part.write_bytes(html.encode("utf-8", "replace")))


def write_json(outcome: Outcome, path: Path) -> None:
    """Write the result as one JSON object, by its schema (docs/reference/result.md)."""
    from sweeprig.report.exports import into

    text = json.dumps(to_result(outcome), indent=2, ensure_ascii=False, allow_nan=False)
    data = f"{text}\n".encode(
        "utf-8", "replace"
    )  # a lone surrogate, from an argument that is not UTF-8, has no code
    into(path, lambda part: part.write_bytes(data))


def _csv(outcome: Outcome, path: Path) -> None:
    from sweeprig.report.exports import write_csv

    write_csv(outcome, path)


def _mdf(outcome: Outcome, path: Path) -> None:
    from sweeprig.report.exports import write_mdf

    write_mdf(outcome, path)


WRITERS: dict[str, Callable[[Outcome, Path], None]] = {
    "html": write_html,
    "pdf": write_sheet_pdf,
    "csv": _csv,
    "json": write_json,
    "mdf": _mdf,
}


def target_of(source: Path, kind: str, folder: Path | None) -> Path:
    """Return where a kind of file of `source` goes: beside it or into `folder`, never onto the source itself."""
    target = (folder or source.parent) / f"{source.stem}{ENDINGS[kind]}"
    if realpath(target) == realpath(source):
        return target.with_name(f"{source.stem}-export{ENDINGS[kind]}")
    return target


def check_target(target: Path, source: Path) -> None:
    """Raise InputError where a sheet would replace the file that it is about, or any capture."""
    same = target.exists() and source.exists() and target.samefile(source)
    if same or (target.exists() and target.suffix in (".sweep", ".journal")):
        raise InputError(
            "The sheet would overwrite a capture." if not same else "The sheet would overwrite its own data.",
            seen=str(target),
            limit="a different name",
            next_step="name another file with --sheet-file",
        )


def check_targets(sources: list[Path], folder: Path | None, kinds: tuple[str, ...]) -> None:
    """Raise InputError where two sources would write to one file."""
    seen: dict[Path, Path] = {}
    for source in sources:
        for kind in kinds:
            target = Path(realpath(target_of(source, kind, folder)))  # of a link in a circle too
            if target in seen and seen[target] != source:
                raise InputError(
                    "Two files would be written to the same place.",
                    seen=f"{seen[target]} and {source} to {target}",
                    next_step="rename one of them, or use another --out for it",
                )
            seen[target] = source


def write_files(
    outcome: Outcome, source: Path, kinds: tuple[str, ...], folder: Path | None = None
) -> tuple[Path, ...]:
    """Write the kinds asked for (of KINDS); return the paths in their order."""
    written = []
    for kind in kinds:
        target = target_of(source, kind, folder)
        WRITERS[kind](outcome, target)
        written.append(target)
    return tuple(written)
