"""`sweeprig config`: what an operator would otherwise type every time."""

from __future__ import annotations

from typing import Annotated

import typer

from sweeprig.cli.console import console
from sweeprig.cli.helping import WholeGroup

config_app = typer.Typer(
    cls=WholeGroup, help="Show or set the defaults kept in the configuration file.", no_args_is_help=True
)


@config_app.command("show")
def show(as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False) -> None:
    """Print every setting in force and where the file is."""
    from sweeprig.bench.shop.config import load_config, settings_shown, shown_lines
    from sweeprig.bench.shop.places import find_places

    places = find_places()
    path = places.config_file
    config = load_config(path)
    if as_json:
        console.show_json({"file": str(path), **settings_shown(config)})
        return
    console.say(f"File: {path}{'' if path.exists() else ' (no file: defaults)'}")
    for line in shown_lines(config, places):
        console.show(line)


@config_app.command("set")
def set_one(
    key: Annotated[str, typer.Argument(help="Name of the setting; `sweeprig config show` lists them.")],
    value: Annotated[str, typer.Argument(help="Its new value, in quotes where it has spaces.")],
) -> None:
    """Change one setting."""
    from sweeprig.bench.shop.config import set_value
    from sweeprig.bench.shop.places import find_places

    path = find_places().config_file
    set_value(path, key, value)
    console.say(f"{key} is set in {path}.")


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.add_typer(config_app, name="config")
