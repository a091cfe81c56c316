"""Limits of the steps around a sweep, from limits.toml; each with its unit and its source."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files

from sweeprig.frontend import FrontEnd
from sweeprig.judge.profile_model import Limit

SNAPSHOT_SPREAD = 150  # codes inside one window, or from one to the next: 0.2 V; a fast hand makes 50


@lru_cache(maxsize=1)
def day_limits() -> dict[str, Limit]:
    """Return all limits by "section.name"."""
    table = tomllib.loads(files("sweeprig.bench.readings").joinpath("limits.toml").read_text("utf-8"))
    return {
        f"{section}.{name}": Limit(float(entry["value"]), entry["unit"], entry["source"])
        for section, entries in table.items()
        for name, entry in entries.items()
    }


def least_supply_v(end: FrontEnd) -> float:
    """Return the lowest supply of a sound rig of this build [V], as an uncalibrated rig reads it."""
    return limit("first_power.least_v" if end.supply_set_v is None else "first_power.least_regulated_v")


def limit(name: str) -> float:
    """Return the value of one limit, named "section.name", in the unit that the file gives."""
    return day_limits()[name].value
