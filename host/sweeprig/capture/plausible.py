"""Whether what a capture file says can be: numbers that physics and the converter allow, text that is text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.errors import CaptureFileError
from sweeprig.link.clean import clean_plain, is_number, is_whole
from sweeprig.link.messages import Records, Snapshot

MOST_INDEX = 1 << 48  # of a record: centuries
MOST_LEFT_OUT = 0.1  # of the records: a capture with more that cannot be is refused whole
MOST_LINES = 100_000  # of a list of texts
CHANNELS = list(wire.CHANNEL_NAMES)  # in their order, the only one
ENDED = ("complete", "stopped", "unplugged", "silent", "restarted", "recovered")
AGAINST_THEMSELVES = "records with a mean outside their lowest and highest code"  # in `set_aside`


def unfit(where: str, key: str, seen: str, limit: str) -> CaptureFileError:
    """Return the error for one value that cannot be."""
    return CaptureFileError(
        f"{where} holds a capture with a wrong {key}.",
        seen=f"{key} {seen:.120}",
        limit=limit,
        next_step="use the original file, or capture again",
    )


def renamed(meta: Mapping[str, Any]) -> dict[str, Any]:
    """Return a description with the keys of today: earlier ones have the calibration under `trim`."""
    if "trim" not in meta or "calibration" in meta:
        return dict(meta)
    return {"calibration" if key == "trim" else key: value for key, value in meta.items()}


def checked_meta(meta: Mapping[str, Any], where: str) -> dict[str, Any]:
    """Return the description of a capture, its text clean. Raises CaptureFileError, which names the key."""
    lists, objects = ("board_text", "coaching"), ("rig", "versions", "setup")
    rules: list[tuple[str, bool, str]] = [
        (
            "window",
            is_whole(meta.get("window"), 1, wire.MOST_WINDOW),
            f"a whole number from 1 to {wire.MOST_WINDOW}",
        ),
        ("conversion_hz", is_number(meta.get("conversion_hz"), above=0.0, most=1e9), "above 0, at most 1e9"),
        ("bad_frames", is_whole(meta.get("bad_frames"), 0, 1 << 48), "a whole number from 0"),
        (
            "calibration",
            "calibration" in meta and isinstance(meta["calibration"], dict | None),
            "an object or null",
        ),
        *(
            (key, _may_be_index(meta.get(key)), "a whole number from 0, or null")
            for key in ("first_index", "stop_index")
        ),
        ("set_aside", _are_counts(meta.get("set_aside", {})), "an object of whole numbers"),
        ("channels", meta.get("channels", CHANNELS) == CHANNELS, ", ".join(CHANNELS)),
        ("created", isinstance(meta.get("created"), str), "text"),
        ("ended", meta.get("ended") in ENDED, ", ".join(ENDED)),
        *((key, isinstance(meta.get(key), dict), "an object") for key in objects),
        *((key, _are_lines(meta.get(key)), "a list of texts") for key in lists),
    ]
    for key, fits, limit in rules:
        if not fits:
            raise unfit(where, key, repr(meta.get(key)), limit)
    return {
        **meta,
        **{
            key: clean_plain(meta[key])
            for key in ("created", "ended", "rig", "versions", "calibration", *lists)
        },
    }


def _may_be_index(value: Any) -> bool:
    return value is None or is_whole(value, 0, MOST_INDEX)


def _are_counts(value: Any) -> bool:
    return isinstance(value, dict) and all(is_whole(number, 0, 1 << 62) for number in value.values())


def _are_lines(value: Any) -> bool:
    return isinstance(value, list) and len(value) <= MOST_LINES and all(isinstance(v, str) for v in value)


def check_records(records: Records, window: int, where: str) -> None:
    """Raise CaptureFileError where a code or a sum is none that the converter can give."""
    if len(records) and max(-int(records.index.min()), int(records.index.max())) > MOST_INDEX:
        raise unfit(where, "index", f"{records.index.max()}", f"at most {MOST_INDEX} in size")
    for name, most in (("mins", wire.CODE_MASK), ("maxs", wire.CODE_MASK), ("sums", wire.CODE_MASK * window)):
        values = getattr(records, name)
        if values.size and int(values.max()) > most:
            row = int(np.argmax((values > most).any(axis=1)))
            raise unfit(where, name, f"{values.max()} at record {row}", f"at most {most}")


def check_counts(records: Records, meta: Mapping[str, Any], where: str) -> None:
    """Raise CaptureFileError where the description counts other records than there are, or places them elsewhere."""
    n, first, stop = len(records), meta.get("first_index"), meta.get("stop_index")
    begin, end = (int(records.index[0]), int(records.index[-1]) + 1) if n else (MOST_INDEX, 0)
    lost = (end if stop is None else stop) - (first or 0) - n if n else 0
    for key, wrong, limit in (
        ("n_records", meta.get("n_records", n) != n, f"{n}, as many as there are"),
        ("first_index", first is not None and first > begin, f"at most {begin}, where the records begin"),
        ("stop_index", stop is not None and stop < end, f"{end} or more, where the records end"),
        ("n_lost", first is not None and meta.get("n_lost", lost) != lost, f"{lost}, as the records tell"),
    ):
        if wrong:
            raise unfit(where, key, repr(meta.get(key)), limit)


def agreeing(records: Records, window: int, where: str) -> tuple[Records, dict[str, int]]:
    """Return the records that do not contradict themselves, and what was left out, for `set_aside`.

    Raises CaptureFileError where there are too many of the others.
    """
    good = agree(records, window)
    n_bad = int(np.count_nonzero(~good))
    if n_bad > MOST_LEFT_OUT * len(records):
        raise CaptureFileError(
            f"{where} holds records that contradict themselves.",
            seen=f"a mean outside the lowest and the highest code in {n_bad} of {len(records)} records",
            limit="a mean from the lowest to the highest code of its window",
            next_step="use the original file, or capture again",
        )
    return (records[good], {AGAINST_THEMSELVES: n_bad}) if n_bad else (records, {})


def are_possible(records: Records, window: int) -> NDArray[np.bool_]:
    """Return which records hold only codes and sums that the converter can give, shape (n,)."""
    within: NDArray[np.bool_] = (records.maxs <= wire.CODE_MASK).all(axis=1)
    fits: NDArray[np.bool_] = within & agree(records, window)
    return fits


def agree(records: Records, window: int) -> NDArray[np.bool_]:
    """Return in which records no mean is below its lowest or above its highest code, shape (n,)."""
    low, high = (codes.astype(np.int64) * window for codes in (records.mins, records.maxs))
    within = np.logical_and(low <= records.sums, records.sums <= high)
    return np.asarray(within.all(axis=1), np.bool_)


def is_possible(s: Snapshot) -> bool:
    """Return whether a snapshot's channels and codes can be."""
    return _has_channels(s) and not (s.codes.size and int(s.codes.max()) > wire.CODE_MASK)


def _has_channels(s: Snapshot) -> bool:
    n: int = wire.CHANNELS
    return 1 <= s.channels <= n and 0 <= s.channel < n


def check_snapshots(snapshots: tuple[Snapshot, ...], where: str) -> None:
    """Raise CaptureFileError where a snapshot's channels or codes cannot be."""
    for number, s in enumerate(snapshots):
        if not _has_channels(s):
            seen = f"channel {s.channel} of {s.channels} in number {number}"
            raise unfit(where, "snapshots", seen, f"1 to {wire.CHANNELS} channels")
        if not is_possible(s):
            raise unfit(where, "snapshot_codes", f"{s.codes.max()}", f"at most {wire.CODE_MASK}")
