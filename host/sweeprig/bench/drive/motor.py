"""The host's side of the motor: moves by degrees, reads the lever's angle, explains how a movement ended.

The board decides when a movement ends (docs/reference/firmware.md, Drive); the messages for it are here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from sweepboard import wire
from sweepboard.command_table import SLOWEST_COUNTS_S
from sweepboard.drive import COUNTS, HALF_TURN, PAST_HOME, STALLED_COUNTS, STALLED_MS, WRONG_COUNTS
from sweeprig.bench.hookup.cautions import CLEAR, Ask, refused
from sweeprig.bench.hookup.prepare import is_simulated
from sweeprig.bench.readings import live
from sweeprig.bench.readings.limits import limit
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import DriveError, HookupError
from sweeprig.link.client import RigClient
from sweeprig.words import Hookup, Setting

DEG = 360.0 / COUNTS  # of one count of the encoder
MOST_DEG = 170.0  # of one movement: the board takes the shorter way round, which is half a turn at most
CHECK_AGAIN = "check it with: sweeprig motor"
FAULTS = (
    "stalled",
    "wrong way",
    "no encoder",
    "too long",
)  # words of the board for a motor that does not do as asked


@dataclass(frozen=True)
class Where:
    """Where the lever is and what the motor does."""

    state: str
    moving: bool
    counts: int | None  # of the encoder; None: it does not answer

    @property
    def deg(self) -> float:
        """The encoder's own angle [deg], 0 to 360; nan where it does not answer."""
        return float("nan") if self.counts is None else float(self.counts * DEG)


def between(start: Where, end: Where) -> float:
    """Return how far [deg] the lever is from `start`, by the shorter way round; nan where that is not known."""
    if start.counts is None or end.counts is None:
        return float("nan")
    return float(((end.counts - start.counts + HALF_TURN) % COUNTS - HALF_TURN) * DEG)


class Motor:
    """The drive of one rig."""

    def __init__(self, client: RigClient) -> None:
        self._client = client

    def where(self) -> Where:
        """Return where the lever is now. Raises LinkError."""
        return self._ask("where")

    def go(self, start: Where, by_deg: float, deg_s: float) -> Where:
        """Move to `by_deg` from `start` at `deg_s`, opening direction positive."""
        counts = round((start.counts or 0) + by_deg / DEG) % COUNTS
        return self._ask("goto", position=counts, speed=_counts_s(deg_s))

    def home(self, deg_s: float) -> Where:
        """Move in closing direction until the home switch is pressed."""
        return self._ask("home", speed=_counts_s(deg_s))

    def let_go(self) -> Where:
        """Switch off the motor's current."""
        return self._ask("free")

    def _ask(self, action: str, **args: int) -> Where:
        said = self._client.command("drive", action=action, **args)
        at = int(said["position"])
        return Where(str(said["state"]), bool(said["moving"]), None if at == wire.NO_POSITION else at)


def _counts_s(deg_s: float) -> int:
    counts: int = max(SLOWEST_COUNTS_S, min(COUNTS, round(deg_s / DEG)))
    return counts


def check_fitted(client: RigClient) -> None:
    """Raise HookupError where this rig has no drive."""
    if not live.has(client, "drive"):
        raise HookupError(
            "This rig has no motor.",
            seen=f"a {client.hello().get('build', 'unknown')} build",
            limit="a driven build: second converter and angle encoder (U4) found on the I2C bus",
            next_step="plug in the encoder (U4) and reset the board; without a motor: sweeprig sweep",
        )


def check_place(hookup: str, setting: str) -> None:
    """Raise HookupError where a motor must not move the lever: on a harness, in a vehicle."""
    if hookup != Hookup.POWERED or setting != Setting.BENCH:
        raise HookupError(
            "The motor moves a lever on the bench only.",
            seen=f"hookup {hookup}, setting {setting}",
            limit="hookup powered, setting bench",
            next_step="take the part off the vehicle and its plug off the harness; or by hand: sweeprig sweep",
        )


def confirm_clear(client: RigClient, setup: SweepSetup, ask: Ask) -> SweepSetup:
    """Ask for the confirmation that nobody is in the way; return the setup with it. Raises SafetyError."""
    if is_simulated(client):
        ask.say(f"Simulated rig, confirmed automatically: {CLEAR.text}")
    elif not ask.confirm(CLEAR):
        raise refused(CLEAR)
    else:
        ask.say(f"Confirmed: {CLEAR.text}")
    return replace(setup, confirmed=(*setup.confirmed, CLEAR.line))


_WORDS: dict[str, tuple[str, str, str]] = {
    "stalled": (
        "The lever does not follow the motor.",
        f"at least {STALLED_COUNTS * DEG:.2f} degrees in {STALLED_MS / 1000:g} s",
        "is the motor's supply on, S3 closed, the belt stretched, the lever free? Then turn A1's current limit up a"
        f" little, and {CHECK_AGAIN}",
    ),
    "wrong way": (
        "The motor turns the lever the wrong way.",
        f"at most {WRONG_COUNTS * DEG:.1f} degrees the other way",
        "a coil with a loose wire turns either way: look at OUT1A to OUT2B of A1, then at set screws, belt and magnet;"
        f" then {CHECK_AGAIN}",
    ),
    "no encoder": (
        "The angle encoder does not answer or finds no magnet.",
        "an angle every 4 ms",
        f"look at the encoder (U4), its cable and the magnet before it; then {CHECK_AGAIN}",
    ),
    "too long": (
        "The lever arrives late.",
        "1 s more than the movement needs",
        f"the belt slips: stretch it, free the lever; then {CHECK_AGAIN}",
    ),
    "home": (
        "The home switch is pressed and no closed stop follows.",
        f"the closed stop within {PAST_HOME * DEG:.1f} degrees of the switch",
        f"look at S2, its pin and its cable: unplugged it reads as pressed; then {CHECK_AGAIN}",
    ),
    "no home": (
        "The lever does not move on and the home switch is not pressed.",
        "the switch pressed before the closed stop",
        "slide S2 until it clicks before the stop; a lever that went to OPEN: the encoder counts the other way, "
        "see hardware/build.md",
    ),
    "no stop": (
        "The lever does not reach an open stop.",
        f"a stop within {MOST_DEG:g} degrees",
        "does the shaft turn the lever? Then say how far it goes: --travel",
    ),
    "short": (
        "The lever hardly moves between its stops.",
        "{least_deg:g} degrees of travel or more",
        f"look at what holds the lever; then {CHECK_AGAIN}",
    ),
}


def fault(word: str, seen: str) -> DriveError:
    """Return the error for a movement that ended in a wrong way."""
    what, kept, step = _WORDS[word]
    kept = kept.format(least_deg=limit("driven.least_deg"))
    return DriveError(f"{what} The motor is without current.", seen=seen, limit=kept, next_step=step)


Rest = Callable[[float], None]


def move(motor: Motor, start: Where, by_deg: float, deg_s: float, rest: Rest) -> Where:
    """Move and wait for the end, whatever it is; `rest` waits some time [s] and keeps the rig awake."""
    at = motor.go(start, by_deg, deg_s)
    while at.moving:
        rest(0.02)
        at = motor.where()
    return at
