"""The members of a capture file: .npy arrays in a zip, each with its digest, and what each has to be."""

from __future__ import annotations

import hashlib
import io
import math
import warnings
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import astuple
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweeprig.capture.model import Capture
from sweeprig.link.messages import Records, Snapshot

Arrays = dict[str, NDArray[Any]]

RECORD_ARRAYS = {name: (array.dtype, *array.shape[1:]) for name, array in vars(Records.empty()).items()}
_EVENT_ARRAYS = {  # type and number of columns, where there are several
    "gaps": (np.int64, 3),  # index, n_lost, reason
    "slow": (np.int64, 4),  # index, quantity, status, value
    "marks": (np.int64, 3),  # index, button, count
    "snapshots": (np.int64, 6),  # index, first, trigger, channels, channel, number of codes
    "snapshot_codes": (np.uint16,),
}
ARRAYS: dict[str, tuple[Any, ...]] = {**RECORD_ARRAYS, **_EVENT_ARRAYS}
MOST_MEMBER = 1 << 30  # bytes of one array, unpacked: the sums of a day, the longest sweep, have 1.04e9


# --- writing


def npy(array: NDArray[Any]) -> bytes:
    """Return an array as the bytes of a .npy file."""
    out = io.BytesIO()
    np.lib.format.write_array(out, array, allow_pickle=False)
    return out.getvalue()


def _table(rows: Sequence[Any], name: str) -> NDArray[Any]:
    kind, *columns = ARRAYS[name]
    return np.array([astuple(row) for row in rows], kind).reshape(-1, *columns)


def arrays_of(capture: Capture) -> Arrays:
    """Return the arrays of a capture by name, each with the type that ARRAYS names."""
    arrays: Arrays = {
        name: np.ascontiguousarray(array, ARRAYS[name][0]) for name, array in vars(capture.records).items()
    }
    snaps = capture.snapshots
    heads = [(s.index, s.first, s.trigger, s.channels, s.channel, s.codes.size) for s in snaps]
    arrays["gaps"] = _table(capture.gaps, "gaps")
    arrays["slow"] = _table(capture.slow, "slow")
    arrays["marks"] = _table(capture.marks, "marks")
    arrays["snapshots"] = np.array(heads, np.int64).reshape(-1, 6)
    arrays["snapshot_codes"] = np.concatenate([np.zeros(0, np.uint16), *(s.codes for s in snaps)])
    return arrays


# --- reading


def member_bytes(archive: zipfile.ZipFile, name: str, most: int) -> bytes:
    """Return one unpacked member; no more than `most` bytes are ever unpacked."""
    info = archive.getinfo(name)
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise ValueError(f"{name} uses another compression")
    with archive.open(info) as packed:
        data = packed.read(most + 1) if info.file_size <= most else b""
    if max(len(data), info.file_size) > most:
        raise ValueError(f"{name} unpacks to more than {most} bytes")
    return data


def read_array(archive: zipfile.ZipFile, name: str, digests: Mapping[str, str]) -> NDArray[Any]:
    """Return one array. Raises KeyError or ValueError where it is not the array that was written."""
    member = f"{name}.npy"
    data = member_bytes(archive, member, MOST_MEMBER)
    if hashlib.sha256(data).hexdigest() != digests[member]:
        raise ValueError(f"{member} does not match its digest")
    array = _array(data, member)
    kind, *columns = ARRAYS[name]
    if array.dtype != kind or [*array.shape[1:]] != columns:
        raise ValueError(f"{member} has the wrong shape or type: {array.dtype}{array.shape}")
    return array


def _array(data: bytes, member: str) -> NDArray[Any]:
    """Return the array in a member; the size that its header claims is compared before memory is taken."""
    read = io.BytesIO(data)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        if np.lib.format.read_magic(read) != (1, 0):
            raise ValueError(f"{member} is of another version of .npy")
        shape, _, kind = np.lib.format.read_array_header_1_0(read)
        if math.prod(shape) * kind.itemsize != len(data) - read.tell() or kind.hasobject:
            raise ValueError(f"{member} does not hold the {shape} of {kind} that it claims")
        read.seek(0)
        array: NDArray[Any] = np.lib.format.read_array(read, allow_pickle=False)
    return array


def snapshots_of(heads: NDArray[np.int64], codes: NDArray[np.uint16]) -> tuple[Snapshot, ...]:
    """Return the snapshots of their heads, n x 6, and all their codes. Raises ValueError where they do not match."""
    if (heads[:, 5] < 0).any() or (heads[:, 5] > codes.size).any() or int(heads[:, 5].sum()) != codes.size:
        raise ValueError("snapshots and their codes do not match")
    parts = np.split(codes, np.cumsum(heads[:, 5])[:-1]) if len(heads) else []
    return tuple(
        Snapshot(index, first, trigger, channels, channel, part)
        for (index, first, trigger, channels, channel, _), part in zip(heads.tolist(), parts, strict=True)
    )
