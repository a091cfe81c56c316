"""Which profile a capture is judged by: as it is today, or as the capture keeps it where today there is none."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from sweeprig.capture.model import SweepSetup
from sweeprig.errors import ProfileError
from sweeprig.judge.profile import Profile, load_profile, parse_profile

AS_CAPTURED = "as-captured"  # in place of a profile's name: the one that the capture keeps
WORDS = ("title", "note", "source")  # keys that hold no limit
MOST_CHANGES = 3  # of a profile, named in a remark


def named_profile(setup: SweepSetup, chosen: str | None) -> str:
    """Return the name or path that the capture is judged by."""
    return setup.profile if chosen in (None, "", AS_CAPTURED) else str(chosen)


def profile_for(setup: SweepSetup, chosen: str | None) -> tuple[Profile, tuple[str, ...]]:
    """Return the profile to judge a capture by, and what has to be said about it.

    `setup` as the capture holds it; `chosen` by the operator, None: the capture's own, as it is today. Where that is
    gone or does not read, the text kept in the capture takes its place. Raises ProfileError.
    """
    if chosen == AS_CAPTURED:
        return _kept(setup), ()
    if chosen or not setup.profile_text:
        return load_profile(chosen or setup.profile), ()
    try:
        today = load_profile(setup.profile)
    except ProfileError as exc:
        why = f"{exc.what} ({exc.seen})" if exc.seen else exc.what
        return _kept(setup), (f"{why} Judged by the profile text kept in the capture.",)
    if today.sha256 == setup.profile_sha256:
        return today, ()
    what = "; ".join(_changes(setup.profile_text, today.text))
    return today, (
        f"The profile {today.name} has changed since the capture ({what}): judged by the present one. "
        f"The capture keeps the earlier one (`--profile {AS_CAPTURED}`).",
    )


def _kept(setup: SweepSetup) -> Profile:
    if not setup.profile_text:
        raise ProfileError(
            "The data has no profile of its own.",
            seen=f"--profile {AS_CAPTURED}",
            limit="a capture that keeps its profile's text",
            next_step="name a profile: see `sweeprig profile list`",
        )
    return parse_profile(setup.profile_text, f"{setup.profile} as captured")


def _changes(then: str, now: str) -> list[str]:
    """Return what differs between two texts of a profile, by key; the first few of it."""
    old, new = (dict(_values(tomllib.loads(text))) for text in (then, now))
    keys = [key for key in {**old, **new} if old.get(key) != new.get(key)]
    values = [key for key in keys if key.rpartition(".")[2] not in WORDS]
    said = [f"{key} {old.get(key, 'none')}, now {new.get(key, 'none')}" for key in values[:MOST_CHANGES]]
    more = [f"{len(values) - MOST_CHANGES} more"] if len(values) > MOST_CHANGES else []
    words = ["its words, but no limit"] if keys and not values else []
    return [*said, *more] or words or ["comments or layout only"]


def _values(table: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _values(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", value
