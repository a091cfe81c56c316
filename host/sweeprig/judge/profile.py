"""Read profiles: the shipped ones by name, any other by its file."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

from sweeprig.capture.regular import read_text
from sweeprig.errors import ProfileError
from sweeprig.judge.profile_check import Problem, check_text
from sweeprig.judge.profile_model import Aim as Aim
from sweeprig.judge.profile_model import Guard as Guard
from sweeprig.judge.profile_model import Limit as Limit
from sweeprig.judge.profile_model import Limits as Limits
from sweeprig.judge.profile_model import Profile as Profile
from sweeprig.judge.profile_model import Range as Range
from sweeprig.judge.profile_model import Sensor as Sensor
from sweeprig.judge.profile_model import Series as Series
from sweeprig.judge.profile_model import Supply as Supply
from sweeprig.judge.profile_rules import AIM, LIMITS, SENSOR_NUMBERS, SERIES, NumberRule
from sweeprig.link.clean import MOST_PROFILE, clean_text, text_digest


def shipped_names() -> tuple[str, ...]:
    """Return the names of the shipped profiles, sorted."""
    folder = resources.files("sweeprig.judge").joinpath("profiles")
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")))


def profile_text(name_or_path: str | Path) -> tuple[str, str]:
    """Return the text of a profile and where it was found; a name without a folder and .toml is a shipped one."""
    name = str(name_or_path)
    if name in shipped_names():
        found = resources.files("sweeprig.judge").joinpath("profiles").joinpath(f"{name}.toml")
        return found.read_text(encoding="utf-8"), str(found)
    path = _path_of(name)
    if path.suffix != ".toml" and not _is_file(path):
        near = difflib.get_close_matches(name[:200], shipped_names(), n=1)
        shown = clean_text(name, 200)
        raise ProfileError(
            f"There is no profile {shown}.",
            seen=shown,
            limit=f"{', '.join(shipped_names())}, or a file that ends in .toml",
            next_step=f"did you mean {near[0]}?" if near else "see `sweeprig profile list`",
        )
    try:
        return read_text(path, most=MOST_PROFILE), str(path)
    except (OSError, ValueError) as exc:
        why = (exc.strerror or exc) if isinstance(exc, OSError) else "it is not UTF-8 text"
        raise ProfileError(
            f"The profile {clean_text(str(path), 200)} cannot be read.",
            seen=str(why),
            next_step="check the name and its permissions",
        ) from exc


def _path_of(name: str) -> Path:
    try:
        return Path(name).expanduser()
    except RuntimeError:  # a ~user whom the system does not know
        return Path(name)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name that the file system does not take
        return False


def problem_text(path: str, problem: Problem) -> str:
    """Return one mistake: file, line, key and what is wrong."""
    return f"{path}, line {problem.line}: {problem.key or 'the file'} {problem.what}."


def load_profile(name_or_path: str | Path) -> Profile:
    """Read one profile; ProfileError names file, line and key of its first mistake."""
    return parse_profile(*profile_text(name_or_path))


def parse_profile(text: str, path: str) -> Profile:
    """Make a profile of its text; ProfileError names `path`, line and key of its first mistake."""
    data, problems = check_text(text)
    if problems:
        first, more = problems[0], len(problems) - 1
        raise ProfileError(
            problem_text(path, first),
            seen=first.seen,
            limit=first.limit,
            next_step=f"correct it; {more} more: see `sweeprig profile check`"
            if more
            else "correct that line",
        )
    return replace(build_profile(data, path), text=text, sha256=text_digest(text))


def build_profile(data: Mapping[str, Any], path: str = "") -> Profile:
    """Make a profile of data without mistakes."""
    numbers = _entries(data["sensor"], SENSOR_NUMBERS)
    words = {k: v for k, v in data["sensor"].items() if k not in SENSOR_NUMBERS}
    return Profile(
        name=data["name"],
        title=data["title"],
        note=data.get("note", ""),
        sensor=Sensor(**words, **numbers),
        supply=Supply(**{**data["supply"], "nominal_v": float(data["supply"]["nominal_v"])}),
        limits=Limits(**_entries(data["limits"], LIMITS)),
        guard=Guard(**{**data["guard"], "factor": float(data["guard"]["factor"])}),
        series=Series(**_entries(data["series"], SERIES)),
        aim=Aim(**_entries(data["aim"], AIM)) if "aim" in data else None,
        path=path,
    )


def _entries(table: Mapping[str, Any], rules: Mapping[str, NumberRule]) -> dict[str, Any]:
    return {key: _entry(table[key], rule) for key, rule in rules.items() if key in table}


def _entry(entry: Mapping[str, Any], rule: NumberRule) -> Limit | Range:
    words = {"unit": entry["unit"], "source": entry["source"], "note": entry.get("note", "")}
    if rule.shape == "range":
        return Range(float(entry["low"]), float(entry["high"]), **words)
    return Limit(float(entry["value"]), **words)
