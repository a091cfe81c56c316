"""`sweeprig profile`: what a sensor must meet, and where each limit comes from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import console
from sweeprig.cli.helping import WholeGroup
from sweeprig.errors import ProfileError

profile_app = typer.Typer(
    cls=WholeGroup,
    help="List, show, write or check profiles: the limits that a sensor must meet.",
    no_args_is_help=True,
)
Name = Annotated[
    str, typer.Argument(help="Name of a profile (`sweeprig profile list`), or a file of your own.")
]


@profile_app.command("list")
def list_profiles(as_json: opt.AsJson = False) -> None:
    """List the profiles that come with the program."""
    from sweeprig.bench.shop.profiles import list_json, list_lines

    console.answer(as_json, list_json, list_lines)


@profile_app.command("show")
def show(profile: Name, as_json: opt.AsJson = False) -> None:
    """Print every limit with its unit, source and note."""
    from sweeprig.bench.shop.profiles import show_json, show_lines
    from sweeprig.judge.profile import load_profile

    found = load_profile(profile)
    console.answer(as_json, lambda: show_json(found), lambda: show_lines(found))


@profile_app.command("new")
def new(
    name: Annotated[str, typer.Argument(help="Name of the new profile.")],
    like: Annotated[str, typer.Option("--like", help="Profile to start from.")] = "adjustable-potentiometer",
    out: Annotated[Path | None, typer.Option("--out", help="File to write; default NAME.toml here.")] = None,
    as_json: opt.AsJson = False,
) -> None:
    """Write a profile of your own to change with an editor."""
    from sweeprig.bench.shop.profiles import new_profile

    path = new_profile(name, like=like, out=out)
    if as_json:
        console.show_json({"file": str(path), "like": like})
        return
    console.show(str(path))
    console.say(f"Change its limits and their sources, then: sweeprig profile check {path}")


@profile_app.command("check")
def check(profile: Name, as_json: opt.AsJson = False) -> None:
    """Find every mistake in a profile: file, line and key."""
    from sweeprig.bench.shop.profiles import check_json, check_lines, check_profile

    path, problems = check_profile(profile)
    console.answer(as_json, lambda: check_json(path, problems), lambda: check_lines(path, problems))
    if problems:
        raise typer.Exit(ProfileError.exit_code)


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(profile_app, name="profile")
