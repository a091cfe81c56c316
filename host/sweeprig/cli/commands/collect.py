"""`collect`: what a rig has kept without a laptop comes home, is verified and judged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import EXIT_OF_VERDICT, console

if TYPE_CHECKING:
    from sweeprig.bench.field.collect import Collected, OnBoard


def collect(
    port: opt.Port = "",
    remove: Annotated[
        bool, typer.Option("--remove", help="Remove from the board what is saved and verified on disk.")
    ] = False,
    only_list: Annotated[bool, typer.Option("--list", help="Only list what is on the board.")] = False,
    guard: opt.Guard = None,
    out: opt.Out = None,
    sheet: opt.SheetKind = None,
    as_json: opt.AsJson = False,
) -> None:
    """Fetch, verify and judge the sweeps that a rig has kept; write captures, sheets and records."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.field import collect as bringing
    from sweeprig.capture.model import SweepSetup
    from sweeprig.cli.session import make_order, settings

    config, _ = settings()
    base = make_order(SweepSetup(), out, sheet, guard)
    with opened_rig(port or config.port) as client:
        if only_list:
            _show_list(bringing.look(client), as_json=as_json)
            return
        found = []
        for one in bringing.collect(client, base, remove=remove, progress=console.progress):
            console.end_progress()
            found.append(one)
            if not as_json:
                _show(one)
    if as_json:
        console.show_json({"sweeps": [_plain(one) for one in found]})
    elif not found:
        console.show("There is no kept sweep on the board.")
    raise typer.Exit(_status(found))


def _show_list(there: OnBoard, *, as_json: bool) -> None:
    rows = [vars(listed) for listed in there.sweeps]
    order = there.order.id if there.order else ""
    if as_json:
        console.show_json({"order": order, "state": dict(there.state), "sweeps": rows})
        return
    console.show(f"Order: {order or 'none'}")
    for listed in there.sweeps:
        console.show(
            f"{listed.number:5d}  {listed.word}{'  not wanted' if listed.unwanted else ''}  {listed.n_pages} pages"
        )


def _show(one: Collected) -> None:
    console.show(
        f"\nSweep {one.kept.number}: {one.kept.said}{'; marked as not wanted' if one.kept.unwanted else ''}"
    )
    if one.problem:
        console.warn(one.problem)
    elif one.done is None:
        console.show("  saved here, not judged" if one.kept.unwanted else "  already here")
    else:
        from sweeprig.cli.views.outcome import outcome_lines

        for line in outcome_lines(one.done.outcome):
            console.show(line)
        if one.done.record_problem:
            console.warn(one.done.record_problem)
    if one.path is not None:
        console.say(f"Capture: {one.path}{'  (removed from the board)' if one.removed else ''}")
    for path in one.done.sheets if one.done else ():
        console.say(f"Sheet:   {path}")


def _plain(one: Collected) -> dict[str, Any]:
    done = one.done
    return {
        "number": one.kept.number,
        "word": one.kept.word,
        "unwanted": one.kept.unwanted,
        "verdict": str(done.outcome.judgement.verdict) if done else None,
        "capture_file": str(one.path) if one.path else None,
        "sheet_files": [str(path) for path in done.sheets] if done else [],
        "problem": one.problem,
        "removed": one.removed,
    }


def _status(found: list[Collected]) -> int:
    """Return the worst verdict's status; 4 where a sweep could not be read."""
    if any(one.problem for one in found):
        return 4
    return max((EXIT_OF_VERDICT[one.done.outcome.judgement.verdict] for one in found if one.done), default=0)


def add_to(app: typer.Typer) -> None:
    """Add the command of this module."""
    app.command()(collect)
