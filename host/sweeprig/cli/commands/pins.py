"""`pins`: which pin is which, from ohmmeter readings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import guiding
from sweeprig.cli import options as opt
from sweeprig.cli.asking import answered, typed_line
from sweeprig.cli.console import console

if TYPE_CHECKING:
    from sweeprig.bench.connection.pins import Pair

INSTEAD = "all readings as arguments: sweeprig pins 1-2=4.87k 1-3=600/4.1k ..."
STOP = ("?", "n", "no", "q")  # in place of a reading
NOT_EXPLAINED = 11  # as an undecided verdict; docs/reference/exit-codes.md


def ask_readings(n_pins: int) -> dict[Pair, tuple[float, float]]:
    """Ask for each pair at closed and at open throttle; a reading that is not understood is asked again."""
    from sweeprig.bench.connection.pin_readings import pairs_of

    readings: dict[Pair, tuple[float, float]] = {}
    for position in ("closed", "open"):
        console.say()
        console.say(f"Lever at {position} throttle. Readings in ohm, as 850 or 4.87k; OL for open circuit.")
        console.say("? = it may be a Hall part: stops here.")
        for pair in pairs_of(n_pins):
            value = _ask_ohm(f"  pin {pair[0]} to pin {pair[1]}")
            readings[pair] = (value, value) if position == "closed" else (readings[pair][0], value)
    return readings


def _ask_ohm(prompt: str) -> float:
    from sweeprig.bench.connection.pin_readings import MAYBE_HALL, parse_ohm
    from sweeprig.errors import InputError

    while True:
        text = answered(lambda: typed_line(f"{prompt}: "), option=INSTEAD)
        if text.strip().lower() in STOP:
            console.say(MAYBE_HALL)
            raise typer.Exit(NOT_EXPLAINED)
        try:
            return parse_ohm(text)
        except InputError as error:
            console.say(f"  {error.what} Seen: {error.seen}. Next: {error.next_step}.")


def pins(
    reading: Annotated[
        list[str] | None,
        typer.Argument(
            help="Ohms of each pair of pins at closed/open throttle, or one value: 1-2=4.87k 1-3=600/4.1k ..."
        ),
    ] = None,
    n_pins: Annotated[int, typer.Option("--pins", min=3, max=6, help="Number of pins of the plug.")] = 3,
    old_count: Annotated[int | None, typer.Option("--count", min=3, max=6, hidden=True)] = None,
    as_json: opt.AsJson = False,
) -> None:
    """Find supply, ground and wiper pins with an ohmmeter, plug OFF the harness."""
    from sweeprig.bench.connection.pin_readings import CAUTIONS, parse_readings, result_json, result_lines
    from sweeprig.bench.connection.pins import identify_pins

    for caution in CAUTIONS:
        console.say(caution)
    result = identify_pins(parse_readings(reading) if reading else ask_readings(old_count or n_pins))
    guiding.tracks_ohm[:] = [track.track_ohm for track in result.tracks]
    console.answer(as_json, lambda: result_json(result), lambda: result_lines(result))
    raise typer.Exit(0 if result.safe else NOT_EXPLAINED)


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(pins)
