"""Sends a job order to a board. Everything is confirmed here, because nobody can be asked in the vehicle."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sweepboard.flash_page import DATA_PAGES, ROOM
from sweepboard.keep import BYTES_A_WINDOW, SPARE_BLOCKS
from sweeprig.bench.field.order import FieldOrder, confirmations, make_order
from sweeprig.bench.hookup.cautions import Ask, cautions_for, confirm_all
from sweeprig.bench.hookup.interlock import check_drive
from sweeprig.bench.hookup.prepare import switch_off
from sweeprig.bench.hookup.rules import check_hello
from sweeprig.bench.sweep.pace import SweepPlan, plan_sweep
from sweeprig.capture.folder import local_now
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import BoardRefusedError, InputError, LinkError
from sweeprig.frontend import FrontEnd, front_end
from sweeprig.judge.profile import Profile, load_profile
from sweeprig.link.client import RigClient
from sweeprig.words import Setting

BLOCKS = (192, 144, 112, 80, 56)  # of 4096 bytes that are asked for, the most that has room
REPLY_S = 5.0  # a board that makes files answers late
PATIENCE = 400  # looks at a board that erases, before it counts as stuck


@dataclass(frozen=True)
class Sent:
    """What was sent, for the card."""

    order: FieldOrder
    plan: SweepPlan
    profile: Profile
    blocks: int  # of flash that the board has for sweeps
    most_erased: int  # times, of the block that was erased most


def send(
    client: RigClient,
    setup: SweepSetup,
    ask: Ask,
    *,
    sweeps: int,
    seconds: float | None = None,
    progress: Callable[[str], None] = lambda _: None,
    sleep: Callable[[float], None] = time.sleep,
    now: Callable[[], datetime] = local_now,
) -> Sent:
    """Check, confirm, make room on the board, and write the order. Raises SafetyError, InputError, LinkError."""
    rig, profile = client.hello(), load_profile(setup.profile)
    end = front_end(str(rig.get("build", "plain")))
    check_hello(rig, end, setup.hookup)
    check_can_keep(rig)
    setup = _confirmed(setup, ask, now())
    switch_off(client)
    state = _ready_area(client, progress)
    _check_collected(state)
    most_s = longest_that_fits_s(int(state["blocks"]), sweeps, client.window_s)
    plan = _plan(profile, end, setup, seconds, most_s)
    _check_fits(plan, sweeps, most_s, seconds)
    order = make_order(
        replace(setup, seconds=plan.longest_s, profile_sha256=profile.sha256),
        profile, plan, end, rig, sweeps=sweeps, order_id=secrets.token_hex(4), sent=now(),
    )  # fmt: skip
    client.command("keep_order", timeout_s=REPLY_S, text=order.text)
    state = _erased(client, progress, sleep)
    return Sent(order, plan, profile, int(state["blocks"]), int(state["most_erased"]))


def check_can_keep(rig: Any) -> None:
    """Raise LinkError where the firmware cannot keep sweeps."""
    if "keep" not in rig.get("capabilities", ()):
        raise LinkError(
            "This rig cannot keep sweeps without a laptop.",
            seen=f"{rig.get('board', 'a board')} with no storage for sweeps",
            limit="an RP2 board with this program's firmware",
            next_step="sweeprig install on an RP2 board; no other board has the flash for it",
        )


def _confirmed(setup: SweepSetup, ask: Ask, when: datetime) -> SweepSetup:
    """Return the setup with its confirmations, asked each time: a job's confirmations on the bench do not count."""
    for text in cautions_for(Setting.VEHICLE, setup.hookup):
        ask.say(f"CAUTION: {text}")
    given = confirm_all(confirmations(setup), job=setup.job, book=None, ask=ask, when=when)
    ask.say(check_drive(setup.vehicle_drive, confirmed=True, bench=False))
    who = f"by {setup.operator}" if setup.operator else "no operator named"
    by = f"{who}, {when:%Y-%m-%d %H:%M}, at sending"
    return replace(setup, confirmed=tuple(f"{line} ({by})" for line in given))


def _plan(
    profile: Profile, end: FrontEnd, setup: SweepSetup, seconds: float | None, most_s: float
) -> SweepPlan:
    """Return the plan: a sweep ends after the profile's strokes, at the latest after `seconds` or `most_s` [s]."""
    shortest = end.shortest_dropout_s(str(setup.hookup))
    plan = plan_sweep(profile, shortest_dropout_s=shortest)
    return replace(plan, longest_s=min(plan.longest_s, most_s) if seconds is None else seconds)


def longest_that_fits_s(blocks: int, sweeps: int, window_s: float) -> float:
    """Return how long each of so many sweeps may be [s], so that all have room in `blocks`, an order's own left out."""
    each = (blocks - 1) // sweeps - SPARE_BLOCKS
    windows = int(max(0, each) * ROOM * DATA_PAGES // BYTES_A_WINDOW)
    return windows * window_s


def _check_fits(plan: SweepPlan, sweeps: int, most_s: float, seconds: float | None) -> None:
    needed_s = plan.asked_s if seconds is None else seconds
    if needed_s > most_s:
        raise InputError(
            f"The board has no room for {sweeps} sweeps of {needed_s:.1f} s.",
            seen=f"room for {most_s:.1f} s each",
            limit=f"{needed_s:.1f} s each, counted for a noisy signal",
            next_step="fewer --sweeps or less --seconds; collect, and send again for more",
        )


def _ready_area(client: RigClient, progress: Callable[[str], None]) -> dict[str, Any]:
    """Return the state of the board's store; create the store where there is none."""
    try:
        return client.command("kept")
    except BoardRefusedError as exc:
        if exc.seen != "not-now":
            raise
    refused: BoardRefusedError | None = None
    for blocks in BLOCKS:
        try:
            _grow(client, blocks, progress)
        except BoardRefusedError as exc:
            refused = exc
        else:
            return client.command("kept")
    assert refused is not None
    raise refused


def _grow(client: RigClient, blocks: int, progress: Callable[[str], None]) -> None:
    there = 0
    while there < blocks:
        there = int(client.command("keep_area", timeout_s=REPLY_S, blocks=blocks)["blocks"])
        progress(f"making room on the board: {there} of {blocks} blocks")


def _check_collected(state: dict[str, Any]) -> None:
    left = [n for n in state["numbers"] if n != state["order"]]
    if left:
        raise InputError(
            "The board still holds sweeps of its present order.",
            seen=f"{len(left)} sweeps",
            limit="none before a new order",
            next_step="sweeprig collect --remove",
        )


def _erased(
    client: RigClient, progress: Callable[[str], None], sleep: Callable[[float], None]
) -> dict[str, Any]:
    """Wait until the board has erased what the first sweep needs."""
    for _ in range(PATIENCE):
        state = client.command("kept", timeout_s=REPLY_S)
        if int(state["clean"]) >= int(state["needed"]):
            return state
        progress(f"erasing: {state['clean']} of {state['needed']} blocks")
        sleep(0.2)
    raise LinkError(
        "The board has no room for a sweep of this order.",
        seen=f"{state['clean']} blocks ready of {state['blocks']}",
        limit=f"{state['needed']} blocks",
        next_step="collect and remove what is there, or shorten --seconds",
    )
