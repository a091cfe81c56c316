"""What the operator said, as plain JSON values and back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, fields
from enum import StrEnum
from typing import Any

from sweeprig.capture.model import Hookup, Sense, Starts, SweepSetup
from sweeprig.errors import CaptureFileError
from sweeprig.link.clean import MOST_CHARACTERS, MOST_PROFILE, clean_plain, clean_text, is_number, text_digest
from sweeprig.words import TASKS, TRACK_OHM, Drive, Kind, Setting

_LISTS = {"confirmed", "prepared"}
_WORDS: dict[str, type[StrEnum]] = {"hookup": Hookup, "starts": Starts, "sense": Sense}
_ONE_OF = {
    "task": TASKS,
    "setting": tuple(Setting),
    "sensor_kind": ("", *Kind),
    "vehicle_drive": ("", *Drive),
}
_NUMBERS = {"seconds": (0.0, 1e9), "track_ohm": TRACK_OHM}
_MAY_LACK = {"track_ohm"}
_LONG = "profile_text"


def setup_to_plain(setup: SweepSetup) -> dict[str, Any]:
    """Return the setup as JSON values; text as any file can hold it."""
    plain = {
        key: str(value) if isinstance(value, StrEnum) else clean_plain(value)
        for key, value in asdict(setup).items()
    }
    return plain | {_LONG: clean_text(setup.profile_text, MOST_PROFILE)}


def setup_from_plain(data: Mapping[str, Any], *, where: str) -> SweepSetup:
    """Return the setup; keys of a later version are left aside. Raises CaptureFileError, which names the key."""
    if not isinstance(data, Mapping):
        raise _unfit(where, "setup", data, "an object")
    known = {f.name for f in fields(SweepSetup)}
    setup = SweepSetup(**{key: _fit(key, value, where) for key, value in data.items() if key in known})
    if setup.profile_text and text_digest(setup.profile_text) != setup.profile_sha256:
        raise _unfit(where, _LONG, setup.profile_text, "the text that profile_sha256 is the digest of")
    return setup


def _fit(key: str, value: Any, where: str) -> Any:
    """Return one value of the setup in its own type."""
    fits, limit, made = _rule(key)
    if key in _MAY_LACK and value is None:
        return None
    if not fits(value):
        raise _unfit(where, key, value, limit)
    return made(value)


def _rule(key: str) -> tuple[Callable[[Any], bool], str, Callable[[Any], Any]]:
    """Return what fits, that in words, and what makes the value of it."""
    if key in _WORDS:
        words = [str(word) for word in _WORDS[key]]
        return words.__contains__, " or ".join(words), _WORDS[key]
    if key in _LISTS:
        return _are_texts, "a list of texts", lambda items: tuple(clean_text(item) for item in items)
    if key in _NUMBERS:
        least, most = _NUMBERS[key]
        fits = f"a number above 0, {least:g} to {most:g}"
        return lambda v: is_number(v, above=0.0, most=most) and v >= least, fits, float
    if key in _ONE_OF:
        return _ONE_OF[key].__contains__, " or ".join(word or "nothing" for word in _ONE_OF[key]), str
    longest = MOST_PROFILE if key == _LONG else MOST_CHARACTERS
    return lambda v: isinstance(v, str), "text", lambda text: clean_text(text, longest)


def _are_texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def _unfit(where: str, key: str, value: object, limit: str) -> CaptureFileError:
    return CaptureFileError(
        f"{where} holds a setup with a wrong {key}.",
        seen=f"{key} {value!r:.80}",
        limit=limit,
        next_step="use the original file, or capture again",
    )
