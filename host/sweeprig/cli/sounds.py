"""The sound of a verdict, so that nobody has to look at the screen."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING

from sweeprig.cli.console import console

if TYPE_CHECKING:
    from sweeprig.link.client import RigClient

BELL_S = 0.25  # [s] between two bells
SOUNDS = {"pass": (80,), "fail": (500, 500, 500), "undecided": (200, 200)}  # [ms] of the buzzer


def sound_verdict(client: RigClient, verdict: str, sleep: Callable[[float], None] = time.sleep) -> None:
    """Sound the rig's buzzer where it is fitted, and the terminal's bell as often."""
    from sweeprig.bench.readings import live
    from sweeprig.errors import LinkError

    has_buzzer = "buzzer" in client.hello().get("capabilities", ())
    for at, ms in enumerate(SOUNDS.get(verdict, ())):
        if at and console.hears(has_buzzer):
            sleep(BELL_S + ms / 1000)
        if has_buzzer:
            with suppress(LinkError):
                live.switch(client, "buzzer", ms=ms)
        console.bell()
