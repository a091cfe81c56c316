"""`collect`: what a rig has kept without a laptop comes home, is verified and judged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from sweepboard.flash_page import PAGE
from sweeprig.cli import options as opt
from sweeprig.cli.console import console

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
    full: opt.Full = False,
    as_json: opt.AsJson = False,
) -> None:
    """Fetch and judge the sweeps that the rig has kept without a laptop; write captures, sheets and records."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.field import collect as field_collect
    from sweeprig.capture.model import SweepSetup
    from sweeprig.cli.session import make_order, settings

    config, _ = settings()
    base = make_order(SweepSetup(), out, sheet, guard)
    with opened_rig(port or config.port) as client:
        if only_list:
            _show_list(field_collect.look(client), as_json=as_json)
            return
        found = []
        for one in field_collect.collect(client, base, remove=remove, progress=console.progress):
            console.end_progress()
            found.append(one)
            if not as_json:
                _show(one, full=full)
    if as_json:
        console.show_json({"sweeps": [_plain(one) for one in found]})
    else:
        _show_end(found, remove=remove)
    raise typer.Exit(_status(found))


def _show_list(there: OnBoard, *, as_json: bool) -> None:
    if as_json:
        rows = [vars(listed) for listed in there.sweeps]
        order = there.order.id if there.order else ""
        console.show_json({"order": order, "state": dict(there.state), "sweeps": rows})
        return
    for line in list_lines(there):
        console.show(line)


def list_lines(there: OnBoard) -> list[str]:
    """Return what is on the board: the order, whether it holds, each sweep."""
    from sweeprig.bench.field.kept import said_of

    order = there.order
    if order is None:
        lines = ["Nothing was prepared on this board with sweeprig send."]
    else:
        holds = "valid" if there.state["holds"] else "no longer valid"
        lines = [
            f"Prepared with sweeprig send: order {order.id} of {order.sent:%Y-%m-%d %H:%M}, {order.sweeps} sweeps,"
            f" {order.setup.hookup}: {holds}."
        ]
    for one in there.sweeps:
        unwanted = "; marked as not wanted" if one.unwanted else ""
        lines.append(
            f"  sweep {one.number}: {said_of(one.word)}{unwanted} ({one.n_pages * PAGE / 1024:.0f} KiB)"
        )
    return [*lines, *([] if there.sweeps else ["No sweep is kept on the board."])]


def _show(one: Collected, *, full: bool) -> None:
    import textwrap

    from sweeprig.cli.sweeping import print_done
    from sweeprig.cli.views.outcome import MOST_WIDTH

    unwanted = "; marked as not wanted" if one.kept.unwanted else ""
    console.show("")
    console.show(f"Sweep {one.kept.number}: {one.kept.said}{unwanted}")
    if one.problem:
        console.warn(one.problem)
    elif one.done is not None:
        if one.done.outcome.setup.kept and not full:
            for line in textwrap.wrap(one.done.outcome.setup.kept, MOST_WIDTH - 2):
                console.show(f"  {line}")
        print_done(one.done, as_json=False, full=full)
    else:
        console.show(
            "  It is saved, not judged." if one.kept.unwanted else "  It is already saved and judged."
        )
        console.say(f"Capture: {one.path}")
    if one.removed:
        console.say("It is removed from the board.")


def _show_end(found: list[Collected], *, remove: bool) -> None:
    if not found:
        console.show("No sweep is kept on the board.")
    elif not remove:
        console.say()
        console.say("The sweeps stay on the board until: sweeprig collect --remove")


def _plain(one: Collected) -> dict[str, Any]:
    from sweeprig.bench.review.result import to_result

    done = one.done
    return {
        "number": one.kept.number,
        "word": one.kept.word,
        "unwanted": one.kept.unwanted,
        "verdict": str(done.outcome.judgement.verdict) if done else None,
        "result": to_result(done.outcome) if done else None,
        "capture_file": str(one.path) if one.path else None,
        "sheet_files": [str(path) for path in done.sheets] if done else [],
        "problem": one.problem,
        "removed": one.removed,
    }


def _status(found: list[Collected]) -> int:
    """Return the worst verdict's status; 4 where a sweep could not be read, or its sheet not written."""
    from sweeprig.cli.sweeping import status_of
    from sweeprig.errors import FileError

    unwritten = FileError.exit_code
    statuses = [status_of(one.done) for one in found if one.done]
    if unwritten in statuses or any(one.problem for one in found):
        return unwritten
    return max(statuses, default=0)


def add_to(app: typer.Typer) -> None:
    """Add the command of this module."""
    app.command()(collect)
