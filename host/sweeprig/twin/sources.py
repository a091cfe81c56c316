"""Thevenin sources of the three channels, as they are and as each kind of event makes them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.twin.render import Source
from sweeprig.twin.rig import Rig
from sweeprig.twin.scene import TRACKS, Knots

FloatArray = NDArray[np.float64]
SUPPLY_OHM = 1.0  # of the supply channel's own lead: common practice, no source
Track = tuple[Source, dict[str, Source]]


@dataclass(frozen=True)
class Given:
    """Sources at the knots: three channels, and for each the kinds of event that need another one."""

    normal: tuple[Source, ...]
    other: tuple[dict[str, Source], ...]


def sources(rig: Rig, knots: Knots, outputs: int) -> Given:
    """Return what drives the three channels."""
    supply = rig.supply_v(outputs) * knots.supply_share
    tracks = _joined(
        rig, [_signal(rig, knots, supply, track, rig.ground_drop_v(outputs)) for track in (0, 1)]
    )
    feed = _feed(rig, supply, outputs)
    return Given(
        normal=(tracks[0][0], tracks[1][0], feed),
        other=(tracks[0][1], tracks[1][1], {"supply-lift": _behind(0.0 * supply, rig.spec.track_ohm)}),
    )


def _joined(rig: Rig, tracks: list[Track]) -> list[Track]:
    """Join the two signal wires through a few ohms where they touch: each sees the other's source as well."""
    ohm = [f.ohm for f in rig.spec.faults if f.kind == "tracks-shorted"]
    if not ohm or not rig.spec.two_tracks:
        return tracks
    own = [track[0] for track in tracks]
    joined: list[Track] = []
    for mine, theirs, track in zip(own, own[::-1], tracks, strict=True):
        through = 1.0 / (1.0 / theirs.g_s + ohm[0])
        g = mine.g_s + through
        joined.append((Source((mine.e_v * mine.g_s + theirs.e_v * through) / g, g), track[1]))
    return joined


def _behind(e_v: FloatArray, ohm: float | FloatArray) -> Source:
    return Source(e_v, 1.0 / (np.zeros_like(e_v) + ohm))


def _feed(rig: Rig, supply: FloatArray, outputs: int) -> Source:
    if outputs & wire.OUT_TAPPED and not rig.settings.supply_tap:
        return Source(np.zeros_like(supply), np.zeros_like(supply))
    return _behind(supply, SUPPLY_OHM)


def _signal(rig: Rig, knots: Knots, supply: FloatArray, track: int, drop_v: float) -> Track:
    spec, share = rig.spec, knots.share[track]
    ground = knots.ground_v + drop_v
    across = supply - ground
    if track == 1 and not spec.two_tracks:
        nothing = Source(np.zeros_like(share), np.zeros_like(share))
        return nothing, {"ground": nothing, "supply-lift": nothing}
    e_v = ground + across * share + knots.hum_v * (supply > 0)
    if spec.kind == "potentiometer":
        ohm = spec.track_ohm * share * (1.0 - share) + knots.contact_ohm[track]
        to_supply = spec.track_ohm * (1.0 - share) + knots.contact_ohm[track]
        to_ground = spec.track_ohm * share + knots.contact_ohm[track]
    else:
        ohm = to_supply = to_ground = np.full_like(share, spec.source_ohm)
    normal = _wiring(rig, Source(e_v, 1.0 / ohm), supply, ground, track)
    other = {"ground": _behind(supply, to_supply), "supply-lift": _behind(ground, to_ground)}
    return normal, other


def _wiring(rig: Rig, source: Source, supply: FloatArray, ground: FloatArray, track: int) -> Source:
    """Apply what is wrong all the time."""
    for fault in rig.spec.faults:
        if track not in TRACKS[fault.track]:
            continue
        if fault.kind == "open-signal":
            source = Source(source.e_v, np.zeros_like(source.g_s))
        elif fault.kind in ("short-to-ground", "short-to-supply"):
            to = ground if fault.kind == "short-to-ground" else supply
            g = source.g_s + 1.0 / fault.ohm
            source = Source((source.e_v * source.g_s + to / fault.ohm) / g, g)
    return source
