"""Reads parts.toml: the one place where a value of the hardware stands."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from typing import Any

from sweeprig.errors import InputError

BUILDS = ("plain", "full", "driven")


@dataclass(frozen=True)
class Part:
    """One line of the parts list. Where `series` > 1 that many equal resistors make up `value`."""

    key: str
    ref: str
    builds: tuple[str, ...]
    count: int
    what: str
    value: float  # in `unit`, of the whole series
    unit: str
    tol: float  # relative half-width
    rating: str
    reason: str
    series: int = 1
    nets: tuple[str, ...] = ()  # one line a piece: its reference and what each pin is joined to
    off_board: tuple[str, ...] = ()  # as nets, of pieces and pins on wires beside the board
    more: Mapping[str, float] = field(default_factory=dict)  # model values: leakage_a, saturation_a, ...

    @property
    def each(self) -> float:
        """Value of one of the series."""
        return self.value / self.series


@dataclass(frozen=True)
class Pin:
    """One pin of the board."""

    gpio: int
    name: str
    builds: tuple[str, ...]
    direction: str
    to: str
    net: str = ""  # "": its name


@dataclass(frozen=True)
class Contact:
    """One contact of the socket, and what each lead joins to it."""

    number: int
    name: str
    rig: str
    powered: str
    tapped: str


@lru_cache(maxsize=1)
def table() -> Mapping[str, Any]:
    """Return parts.toml as it stands."""
    return tomllib.loads(files("sweeprig.frontend").joinpath("parts.toml").read_text("utf-8"))


_PLAIN_KEYS = ("key", "ref", "count", "what", "unit", "tol", "rating", "reason")


def _part(row: Mapping[str, Any]) -> Part:
    series = int(row.get("series", 1))
    value = float(row["each"]) * series if "each" in row else float(row["value"])
    known = {*_PLAIN_KEYS, "builds", "series", "each", "value", "nets", "off_board"}
    more = {k: float(v) for k, v in row.items() if k not in known}
    plain = {k: row[k] for k in _PLAIN_KEYS}
    builds, nets, off = (tuple(row.get(k, ())) for k in ("builds", "nets", "off_board"))
    return Part(**plain, builds=builds, nets=nets, off_board=off, value=value, series=series, more=more)


def check_build(build: str) -> str:
    """Return `build`, or raise InputError with the builds that there are."""
    if build not in BUILDS:
        raise InputError(
            "This build of the rig is not known.",
            seen=repr(build),
            limit=", ".join(BUILDS),
            next_step="Correct the build in the board's configuration or on the command line.",
        )
    return build


def parts(build: str) -> dict[str, Part]:
    """Return the parts of one build by key, in the table's order."""
    rows = (_part(row) for row in table()["part"])
    return {p.key: p for p in rows if check_build(build) in p.builds}


def pins(build: str) -> tuple[Pin, ...]:
    """Return the board pins that one build uses."""
    rows = (Pin(**{**row, "builds": tuple(row["builds"])}) for row in table()["pin"])
    return tuple(p for p in rows if check_build(build) in p.builds)


def contacts() -> tuple[Contact, ...]:
    """Return the contacts of the socket (full and driven builds)."""
    return tuple(Contact(**row) for row in table()["contact"])
