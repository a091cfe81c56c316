"""What `sweeprig profile` does: list, show, start and check profiles."""

from __future__ import annotations

import json
import re
from dataclasses import asdict, fields, is_dataclass
from pathlib import Path
from typing import Any

from sweeprig.errors import InputError, ProfileError
from sweeprig.judge.profile import build_profile, load_profile, problem_text, profile_text, shipped_names
from sweeprig.judge.profile_check import Problem, check_text
from sweeprig.judge.profile_model import Limit, Profile, Range

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}")


def _source(text: str) -> str:
    """Return where a number comes from, in words that leave no doubt what kind of source is meant."""
    return text.replace("common practice, no source", "general workshop value").replace(
        "own choice, no source", "our choice"
    )


def _sense(sense: str) -> str:
    return "rising or falling" if sense == "either" else sense


def shipped() -> list[Profile]:
    """Return the shipped profiles, by name."""
    return [load_profile(name) for name in shipped_names()]


def list_lines() -> list[str]:
    """Return one line for each shipped profile."""
    return [f"{p.name:26}{p.title}" for p in shipped()]


def list_json() -> dict[str, Any]:
    """Return the shipped profiles as a JSON-ready object."""
    rows = [
        {"name": p.name, "title": p.title, "kind": p.sensor.kind, "tracks": p.sensor.tracks}
        for p in shipped()
    ]
    return {"profiles": rows}


def show_json(profile: Profile) -> dict[str, Any]:
    """Return everything that a profile holds and the digest of its text; what it does not judge is null."""
    return {key: value for key, value in asdict(profile).items() if key != "text"}


def show_lines(profile: Profile) -> list[str]:
    """Return a profile as lines: each limit with its unit, source and note."""
    sensor, supply = profile.sensor, profile.supply
    held = (
        f"readings converted to an exact {supply.nominal_v:g} V supply"
        if supply.ratiometric
        else "volts as measured"
    )
    relation = f" ({sensor.relation})" if sensor.tracks > 1 else ""
    lines = [
        f"{profile.name}: {profile.title}",
        *([f"  {profile.note}"] if profile.note else []),
        "",
        f"  sensor        {sensor.kind}, {sensor.tracks} track{'s' if sensor.tracks > 1 else ''}"
        f"{relation}, sense {_sense(sensor.sense)}, mount {'slotted' if sensor.slotted else 'fixed'}",
        f"  supply        {supply.nominal_v:g} V nominal; limits are for {held} ({_source(supply.source)})",
        f"  guard band    to pass, a value must be inside its limit by {profile.guard.factor:g} x its ±"
        f" ({_source(profile.guard.source)})",
    ]
    for title, part in (("Limits", profile.limits), ("Aim", profile.aim), ("Series", profile.series)):
        if part is not None:
            lines += ["", title, *_number_lines(part)]
    return lines


def _number_lines(part: Any) -> list[str]:
    out = []
    for f in fields(part):
        entry = getattr(part, f.name)
        if is_dataclass(entry):
            out += _entry_lines(f.name, entry)  # type: ignore[arg-type]
    return out


def _entry_lines(name: str, entry: Limit | Range) -> list[str]:
    value = f"{entry.low:g} to {entry.high:g}" if isinstance(entry, Range) else f"{entry.value:g}"
    note = [f"{'':18}{entry.note}"] if entry.note else []
    return [f"  {name:16}{value} {entry.unit} ({_source(entry.source)})", *note]


def new_profile(name: str, *, like: str, out: Path | None) -> Path:
    """Write a profile of one's own that starts as a copy of `like`; never over a file that is there."""
    if not NAME.fullmatch(name):
        raise InputError(
            "The profile name is not valid.",
            seen=name,
            limit="letters, digits, - and _, at most 64",
            next_step="type another name",
        )
    if name in shipped_names():
        raise InputError(
            "This name belongs to a shipped profile.",
            seen=name,
            limit="a name of your own",
            next_step="type another name",
        )
    text, _ = profile_text(like)
    path = out or Path(f"{name}.toml")
    copied = re.sub(r"(?m)^name = .*$", f"name = {json.dumps(name)}", text, count=1)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(copied)
    except FileExistsError as exc:
        raise ProfileError(
            f"{path} already exists.", limit="a new file", next_step="choose another name or --out"
        ) from exc
    except OSError as exc:
        raise ProfileError(
            f"{path} cannot be written.", seen=str(exc.strerror), next_step="choose another folder with --out"
        ) from exc
    return path


def check_profile(name_or_path: str) -> tuple[str, tuple[Problem, ...]]:
    """Return where a profile was found and all its mistakes."""
    text, path = profile_text(name_or_path)
    data, problems = check_text(text)
    if not problems:
        build_profile(data, path)
    return path, problems


def check_lines(path: str, problems: tuple[Problem, ...]) -> list[str]:
    """Return one line for each mistake, or one that there is none."""
    if not problems:
        return [f"{path}: no mistake found."]
    return [_one_line(path, p) for p in problems]


def _one_line(path: str, p: Problem) -> str:
    seen = f" Seen: {p.seen}." if p.seen else ""
    limit = f" Expected: {p.limit}." if p.limit else ""
    return f"{problem_text(path, p)}{seen}{limit}"


def check_json(path: str, problems: tuple[Problem, ...]) -> dict[str, Any]:
    """Return the mistakes as a JSON-ready object."""
    return {"file": path, "ok": not problems, "problems": [asdict(p) for p in problems]}
