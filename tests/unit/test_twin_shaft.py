"""The simulated drive: a motor, a belt with play, an encoder, and the board's own drive in the firmware."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np
import pytest

from sweepboard import simulated_drive, wire
from sweeprig.bench.board.rig import opened_rig
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Records
from sweeprig.twin.shaft import DEG, HOME_DEG, TRAVEL_DEG, DriveParts, Shaft

UP = simulated_drive.TURN_HELD | simulated_drive.TURN_UP
DOWN = simulated_drive.TURN_HELD
ANY_RIG = "sim://good?board=driven&pace=fast&vm=cpython"


def turned(parts: DriveParts, *moves: tuple[int, float]) -> tuple[int, bool]:
    """Return counts and home switch after motor words, each for so many seconds at 1024 counts a second."""
    shaft = Shaft(parts)
    for way, seconds in moves:
        shaft.turn(way | 1024)
        shaft.go(seconds)
    counts, home = struct.unpack(simulated_drive.SHAFT_FORMAT, shaft.state())
    return counts, bool(home)


def test_the_shaft_follows_through_the_play_of_the_belt() -> None:
    parts = DriveParts(slack_deg=2.0)
    there, _ = turned(parts, (UP, 0.5))
    back, _ = turned(parts, (UP, 0.5), (DOWN, 0.01))
    assert there == 400 + round((45.0 - 1.0) / DEG)
    assert back == there  # 0.9 degrees back are within the play


def test_the_belt_slips_at_the_stops_of_the_lever() -> None:
    assert turned(DriveParts(), (UP, 5.0)) == (400 + round(TRAVEL_DEG / DEG), False)
    down, home = turned(DriveParts(), (UP, 0.5), (DOWN, 9.0))
    assert (down, home) == (400, True)
    again, _ = turned(DriveParts(slack_deg=0.0), (UP, 5.0), (DOWN, 0.1))
    assert again == 400 + round((TRAVEL_DEG - 9.0) / DEG)  # at once: what slipped is not wound back


def test_motors_and_encoders_that_are_not_as_they_should() -> None:
    assert turned(DriveParts(motor="stuck"), (UP, 1.0))[0] == 400
    assert turned(DriveParts(motor="reversed"), (DOWN, 0.5))[0] > 800
    assert turned(DriveParts(zero=4000), (UP, 0.5))[0] < 500  # count 0 is crossed
    assert turned(DriveParts(magnet=False), (UP, 0.5))[0] == wire.NO_POSITION
    assert [turned(DriveParts(home=h), (UP, 0.5))[1] for h in ("good", "open", "never")] == [
        False,
        True,
        False,
    ]
    assert not turned(DriveParts(home="never"))[1]


def gone(client: RigClient, **args: Any) -> dict[str, Any]:
    """Return how a movement ended."""
    client.command("drive", **args)
    while (seen := client.command("drive", action="where"))["moving"]:
        client.rest(0.01)
    return seen


@pytest.mark.parametrize(
    ("faults", "action", "state"),
    [
        ("", "goto", "arrived"),
        ("&motor=reversed", "goto", "arrived"),
        ("&zero=3900", "goto", "arrived"),
        ("&motor=stuck", "goto", "stalled"),
        ("&home=open", "home", "home"),
        ("", "home", "home"),
    ],
)
def test_the_boards_own_drive_moves_the_simulated_shaft(faults: str, action: str, state: str) -> None:
    with opened_rig(ANY_RIG + faults) as client:
        start = client.command("drive", action="where")["position"]
        target = (start + 400) % 4096
        seen = gone(client, action=action, position=target, speed=2000)
        assert seen["state"] == state
        if state == "arrived":
            assert abs((seen["position"] - target + 2048) % 4096 - 2048) <= 9


def test_signal_and_angle_of_a_driven_lever_go_together() -> None:
    with opened_rig(ANY_RIG) as client:
        gone(client, action="goto", position=400 + 60, speed=1000)
        client.start("powered")
        client.command("supply", on=True)
        client.command("burden", on=True)
        client.poll(0.1)
        gone(client, action="goto", position=400 + 900, speed=500)
        records = Records.concatenate([e for e in client.poll(0.1) if isinstance(e, Records)])
        client.stop()
    counts, code = records.position.astype(float), records.sums[:, 0] / 166
    assert np.all(np.diff(counts) >= 0)
    moving = (counts > 480) & (counts < 1280)
    line = np.polyfit(counts[moving], code[moving], 1)
    off = np.abs(np.polyval(line, counts[moving]) - code[moving]).max() / line[0]
    assert off < 8  # counts: 0.7 degrees, of which the reading's age is 0.5 at 44 degrees a second
    assert HOME_DEG < (counts[-1] - 400) * DEG < TRAVEL_DEG


def test_a_hand_moves_the_encoder_too() -> None:
    with opened_rig(ANY_RIG) as client:
        client.start("powered")
        seen: list[int] = []
        while len(seen) < 1500:
            seen += [int(p) for e in client.poll(0.5) if isinstance(e, Records) for p in e.position]
        client.stop()
    assert min(seen) == 400
    assert max(seen) > 1300
