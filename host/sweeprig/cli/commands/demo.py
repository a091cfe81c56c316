"""`demo`: the whole job on the simulated rig, in a scenario of our own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import console, strong
from sweeprig.cli.sweeping import files_of, say_files, take_sweep

if TYPE_CHECKING:
    from sweeprig.bench.demo import Scene


def demo(
    out: Annotated[Path, typer.Option("--out", help="Folder for captures and sheets.")] = Path("out/demo"),
    fast: Annotated[
        bool, typer.Option("--fast", help="Do not wait in real time: as fast as this computer can.")
    ] = False,
    sensor: Annotated[
        str, typer.Option("--sensor", help="Only this simulated sensor; `--sensor list` names them.")
    ] = "",
    seconds: opt.Seconds = 5.0,
    as_json: opt.AsJson = False,
) -> None:
    """Show the main job without hardware: two simulated sensors of an invented order, with verdicts and sheets."""
    from sweeprig.bench.demo import SCENE, scenes
    from sweeprig.errors import FileError

    if sensor == "list":
        _list_sensors(as_json)
        return
    console.say(SCENE)
    played = [_play(scene, out, fast=fast, seconds=seconds, as_json=as_json) for scene in scenes(sensor)]
    if as_json:
        console.show_json({"schema_version": 1, "scenes": [told for told, _ in played]})
    if not all(saved for _, saved in played):
        raise typer.Exit(FileError.exit_code)


def _list_sensors(as_json: bool) -> None:
    from sweeprig.bench.demo import sensor_titles

    titles = sensor_titles()
    if as_json:
        console.show_json(titles)
        return
    for name, title in titles.items():
        console.show(f"{name:28}{title}")


def _play(
    scene: Scene, out: Path, *, fast: bool, seconds: float, as_json: bool
) -> tuple[dict[str, Any], bool]:
    """Play one scene; return what JSON says of it, and whether all of it is saved."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.board.words import rig_line
    from sweeprig.bench.demo import demo_order
    from sweeprig.bench.review.result import to_result
    from sweeprig.cli.views.outcome import outcome_lines

    console.say()
    console.say(strong(f"== {scene.title}"))
    with opened_rig(scene.url(fast=fast)) as client:
        console.say(rig_line(client.hello()))
        done = take_sweep(client, demo_order(scene, out, seconds))
    if not as_json:
        for line in outcome_lines(done.outcome):
            console.show(line)
    say_files(done)
    return {"title": scene.title, **to_result(done.outcome), **files_of(done)}, not done.not_saved


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(demo)
