"""The list of kinds and the way a kind is entered."""

from __future__ import annotations

import zlib

import numpy as np

from population.cases import Case, Kind, Maker
from population.truth import finish

KINDS: dict[str, Kind] = {}


def enter(name: str, group: str, description: str, make: Maker, *, sound: bool, source: str = "rig") -> None:
    """Enter a kind. A name is used once."""
    if name in KINDS:
        raise ValueError(f"Kind {name!r} is entered twice. Names must differ. Choose another name.")
    KINDS[name] = Kind(name, sound, group, description, source, make)


def draw(kind: str, seed: int) -> Case:
    """Draw one case of a kind. The same kind and seed give the same case."""
    if kind not in KINDS:
        raise KeyError(f"Kind {kind!r} is unknown. {len(KINDS)} kinds exist. Take a name from KINDS.")
    rng = np.random.Generator(np.random.PCG64([zlib.crc32(kind.encode()), seed]))
    entry = KINDS[kind]
    return finish(entry.make(rng), entry, seed)
