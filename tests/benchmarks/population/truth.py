"""The truth of a scene, and the finished case."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from population.cases import GRID_S, Case, Kind, Truth
from population.render import render_rig, render_table
from population.scene import Scene

REST_S = 0.15


def runs(label: NDArray[np.int8]) -> list[tuple[int, int, int]]:
    """Runs of equal label: (label, first, end)."""
    edges = np.flatnonzero(np.diff(label)) + 1
    bounds = np.concatenate(([0], edges, [len(label)]))
    return [(int(label[i]), int(i), int(j)) for i, j in itertools.pairwise(bounds)]


def _rests(scene: Scene, stop: int) -> list[tuple[int, int]]:
    return [(i, j) for k, i, j in runs(scene.hand.label) if k == stop and (j - i) * GRID_S >= REST_S - 1e-9]


def full_strokes(label: NDArray[np.int8]) -> int:
    """Times the lever goes from one stop to the other."""
    touched = label[label != 0]
    return int(np.count_nonzero(np.diff(touched.astype(int)))) if len(touched) else 0


def _undisturbed(scene: Scene) -> NDArray[np.bool_]:
    """Grid samples outside all events."""
    keep = np.ones(len(scene.hand.x), dtype=bool)
    for e in scene.events:
        keep[max(0, int(e.start_s / GRID_S)) : max(0, int(np.ceil(e.end_s / GRID_S)))] = False
    return keep


def _mean(values: NDArray[np.float64], rests: list[tuple[int, int]], keep: NDArray[np.bool_]) -> float | None:
    mask = np.zeros(len(values), dtype=bool)
    for i, j in rests:
        mask[i:j] = True
    mask &= keep
    return float(values[mask].mean()) if mask.any() else None


def _undecided(scene: Scene, strokes: int, rests: tuple[int, int]) -> bool:
    """Too little movement, or no fault that shows at least twice."""
    if scene.undecided or strokes < 3 or min(rests) == 0:
        return True
    by_events = [f for f in scene.faults if f.events or f.share is not None]
    lasting = [f for f in scene.faults if not f.events and f.share is None]
    return bool(by_events) and not lasting and all(f.seen < 2 for f in by_events)


def _must_not(scene: Scene, sound: bool) -> tuple[str, ...]:
    if sound:
        return ("fault",) if scene.must_not is None else scene.must_not
    hidden = bool(scene.faults) and all(f.share is not None or f.events for f in scene.faults)
    if hidden and not any(f.seen for f in scene.faults):
        scene.notes.append("Nothing of the fault is in the record.")
        return tuple(w for w in scene.must_not or () if w != "sound")
    return ("sound",) if scene.must_not is None else scene.must_not


def truth_of(scene: Scene) -> Truth:
    """Work out what is true about a scene."""
    outs, v = scene.slow_voltages()
    keep = _undisturbed(scene)
    closed, opened = _rests(scene, -1), _rests(scene, 1)
    ends = [None if scene.no_ends else _mean(y, r, keep) for y in outs for r in (closed, opened)]
    supply = float(v.mean())
    span = scene.sensor.tracks[0]
    strokes = full_strokes(scene.hand.label)
    sound = not scene.faults
    first = int(scene.hand.label[0])
    must_not = _must_not(scene, sound)
    return Truth(
        sound=sound,
        faults=tuple(scene.faults),
        sense="rising" if span.open > span.closed else "falling",
        closed_v=ends[0],
        open_v=ends[1],
        supply_v=supply,
        closed_ratio=None if ends[0] is None else ends[0] / supply,
        open_ratio=None if ends[1] is None else ends[1] / supply,
        rests_closed=len(closed),
        rests_open=len(opened),
        full_strokes=strokes,
        handling=scene.hand.word,
        must_not=must_not,
        may_be_undecided=_undecided(scene, strokes, (len(closed), len(opened))),
        note=" ".join(scene.notes),
        begins={-1: "closed", 0: "between", 1: "open"}[first],
        sense_known=scene.sense_known and first == -1,
        tracks=scene.sensor.relation,
        b_closed_v=ends[2] if len(ends) > 2 else None,
        b_open_v=ends[3] if len(ends) > 2 else None,
    )


def finish(scene: Scene, kind: Kind, seed: int) -> Case:
    """Render the scene and put the case together."""
    truth = truth_of(scene)
    if scene.logger is not None:
        text = render_table(scene)
        return Case(kind.name, seed, kind.part(seed), "table", truth, starts=scene.starts, csv_text=text)
    rig = scene.rig
    assert rig is not None
    sums, mins, maxs = render_rig(scene)
    return Case(
        kind.name,
        seed,
        kind.part(seed),
        "rig",
        truth,
        sums=sums,
        mins=mins,
        maxs=maxs,
        build=rig.build,
        chip=rig.chip,
        hookup=rig.hookup,
        starts=scene.starts,
        transfer=rig.converter.transfer,
        vref_v=rig.converter.vref_v,
        divider=rig.divider,
    )
