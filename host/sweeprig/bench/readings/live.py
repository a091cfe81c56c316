"""Readings from a running rig, without a capture, for hookup, check, watch and aim."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

import numpy as np

from sweepboard import wire
from sweeprig.bench.readings.limits import limit
from sweeprig.calibration.model import Calibration
from sweeprig.capture.model import Capture, Channel, SweepSetup, Trace
from sweeprig.errors import BoardRefusedError, BoardSilentError, LinkError
from sweeprig.frontend import FrontEnd, front_end_of
from sweeprig.link.client import PLUG_IN_AGAIN, RigClient, no_records
from sweeprig.link.messages import Mark, SlowReading
from sweeprig.link.messages import Message as Message
from sweeprig.link.messages import Records as Records

SETTLE_S = 0.1  # [s] of records left out after a switch; the front end settles in far less
POLL_S = 0.1
OFF: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("drive", "drive", {"action": "free"}),
    ("supply-switch", "supply", {"on": False}),
    ("burden", "burden", {"on": False}),
    ("bias", "bias", {"mode": "off"}),
)
PATIENCE = 30  # polls that bring nothing before the rig counts as silent


@dataclass(frozen=True)
class Levels:
    """The channels at rest: medians of the window means. None where a channel is not there."""

    n_windows: int
    signal_v: float  # [V]
    noise_v: float  # [V] standard deviation of the window means
    low_v: float  # [V] lowest single conversion
    high_v: float  # [V] highest single conversion
    signal_b_v: float | None = None  # [V]
    supply_v: float | None = None  # [V]
    supply_peak_v: float | None = None  # [V] peak to peak of the supply's window means
    flags_any: int = 0  # wire.FLAG_* seen in any window
    current_a: float | None = None  # [A] into the sensor, where the rig measures it
    ground_v: float | None = None  # [V] sensor ground against rig ground, where observed
    battery_v: float | None = None  # [V] where observed; inf above the range of its divider
    n_battery: int = 0  # readings of it
    most_v: float = np.inf  # [V] the highest that a sensing lead can show

    @property
    def fault(self) -> bool:
        """Whether the rig said that it limits or has cut the supply."""
        return bool(self.flags_any & wire.FLAG_SUPPLY_FAULT)

    @property
    def overloaded(self) -> bool:
        """Whether the supply limits, or stands near ground although it is on."""
        return self.fault or (self.supply_v is not None and self.supply_v < limit("first_power.short_v"))


@dataclass(frozen=True)
class Chunk:
    """What one poll of the stream brought: volts of some windows, and the other messages."""

    trace: Trace | None  # None where no record came, or the converter flagged all of them
    records: Records
    marks: tuple[Mark, ...] = ()
    slow: tuple[SlowReading, ...] = ()


@dataclass(frozen=True)
class RigVolts:
    """Turns this rig's codes into volts at the sensor."""

    client: RigClient
    setup: SweepSetup
    calibration: Calibration
    front_end: FrontEnd
    nominal_supply_v: float = 5.0

    def trace(self, records: Records) -> Trace:
        """Return the trace of some records; the time is that of their index."""
        from sweeprig.calibration.volts import to_trace

        rig = self.client.hello()
        capture = Capture(
            records=records,
            rig=rig,
            setup=self.setup,
            created="",
            window=int(rig["window"]),
            conversion_hz=float(rig["conversion_hz"]),
            first_index=int(records.index[0]),
        )
        return to_trace(
            capture,
            calibration=self.calibration,
            front_end=self.front_end,
            nominal_supply_v=self.nominal_supply_v,
            track_ohm=self.setup.track_ohm,
        )

    def channel(self, records: Records, number: int) -> Channel:
        """Return one channel in volts as loaded, whether anything is connected or not."""
        from sweeprig.calibration.volts import channel_volts

        return channel_volts(
            records.sums[:, number],
            records.mins[:, number],
            records.maxs[:, number],
            window=int(self.client.hello()["window"]),
            calibration=next(c for c in self.calibration.channels if c.channel == number),
        )

    def chunk(self, messages: list[Message]) -> Chunk:
        """Return the records of these messages in volts, with their marks and slow readings."""
        records = Records.concatenate([m for m in messages if isinstance(m, Records)])
        trace = self.trace(records).usable() if len(records) else None
        return Chunk(
            trace if trace is not None and trace.t_s.size else None,
            records,
            tuple(m for m in messages if isinstance(m, Mark)),
            tuple(m for m in messages if isinstance(m, SlowReading)),
        )


def volts_of(
    client: RigClient, setup: SweepSetup, calibration: Calibration, nominal_supply_v: float
) -> RigVolts:
    """Return what turns the codes of an identified rig into volts."""
    return RigVolts(client, setup, calibration, front_end_of(client.hello()), nominal_supply_v)


def has(client: RigClient, word: str) -> bool:
    """Return whether the rig's hello lists a capability."""
    return word in client.hello().get("capabilities", ())


def switch(client: RigClient, what: str, **args: Any) -> bool:
    """Send a command that switches something; False where the rig has no such part. Raises BoardRefusedError."""
    try:
        client.command(what, **args)
    except BoardRefusedError as exc:
        if exc.seen == "not-fitted":
            return False
        raise
    return True


def release(client: RigClient) -> None:
    """Let the motor go, switch off supply, burden and bias, whichever are fitted.

    All are tried before the first LinkError is raised.
    """
    errors: list[LinkError] = []
    for word, what, off in OFF:
        if has(client, word):
            try:
                switch(client, what, **off)
            except LinkError as exc:
                errors.append(exc)
    if errors:
        raise errors[0]


@contextmanager
def streaming(client: RigClient, hookup: str) -> Iterator[None]:
    """Stream while the block runs. A board that is gone has stopped by itself."""
    client.start(str(hookup))
    try:
        yield
    finally:
        with suppress(LinkError):
            client.stop()


def collect(
    client: RigClient,
    *,
    seconds: float,
    settle_s: float = SETTLE_S,
    seen: Callable[[list[Message]], None] = lambda _: None,
) -> list[Message]:
    """Return `seconds` of a running stream from now on, the first `settle_s` left out; time is the record index.

    `seen` gets what each poll brings, at once. Raises BoardSilentError where no records come.
    """
    window_s = client.window_s
    skip, want = round(settle_s / window_s), max(1, round(seconds / window_s))
    client.poll(0.0)  # what came before the last command
    first: int | None = None
    kept: list[Message] = []
    silent = 0
    while silent < PATIENCE:
        silent += 1
        messages = client.poll(POLL_S)
        seen(messages)
        for message in messages:
            if isinstance(message, Records):
                silent = 0
                first = int(message.index[0]) if first is None else first
                kept.append(message[message.index >= first + skip])
                if int(message.index[-1]) >= first + skip + want - 1:
                    return kept
            else:
                kept.append(message)
    raise no_records(f"nothing for {PATIENCE * POLL_S:.0f} s")


def levels(volts: RigVolts, messages: list[Message]) -> Levels:
    """Return the levels of what was collected. Events without a usable record raise BoardSilentError."""
    came = Records.concatenate([m for m in messages if isinstance(m, Records)])
    records = came.usable()
    if not len(records):
        raise no_data(n_came=len(came))
    a, b, supply = (volts.channel(records, number) for number in range(3))
    slow = tuple(m for m in messages if isinstance(m, SlowReading))
    battery = _battery_v(volts, slow)
    return Levels(
        n_windows=len(records),
        signal_v=float(np.median(a.mean_v)),
        noise_v=float(np.std(a.mean_v)),
        low_v=float(a.min_v.min()),
        high_v=float(a.max_v.max()),
        signal_b_v=float(np.median(b.mean_v)),
        supply_v=float(np.median(supply.mean_v)),
        supply_peak_v=float(np.ptp(supply.mean_v)),
        flags_any=int(np.bitwise_or.reduce(records.flags)),
        current_a=slow_value(slow, wire.SLOW_SUPPLY_CURRENT),
        ground_v=_ground_v(volts, slow),
        battery_v=battery[len(battery) // 2] if battery else None,
        n_battery=len(battery),
        most_v=volts.front_end.full_scale_v,
    )


def no_data(*, n_came: int = 1) -> BoardSilentError:
    """Return the error for a stretch without a usable record."""
    if not n_came:
        return no_records()
    return BoardSilentError("The converter marks all readings as bad.", next_step=PLUG_IN_AGAIN)


def _ground_v(volts: RigVolts, slow: tuple[SlowReading, ...]) -> float | None:
    """Return sensor ground against the rig's [V]; None where the rig has no lead for it."""
    from sweeprig.calibration.slow import ground_of_node

    node = slow_value(slow, wire.SLOW_GROUND)
    if node is None or "ground-sense" not in volts.front_end.capabilities:
        return None
    return float(ground_of_node(np.array([node]), volts.front_end)[0])


def _battery_v(volts: RigVolts, slow: tuple[SlowReading, ...]) -> list[float]:
    """Return the readings of the battery [V], sorted, inf above the range of its divider; [] without a lead for it."""
    from sweeprig.calibration.slow import battery_readings

    return sorted(v for _, v in battery_readings(slow, volts.front_end))


def slow_value(slow: tuple[SlowReading, ...], quantity: int) -> float | None:
    """Return the median of the good readings of a quantity in its SI unit; None where there is none."""
    values = [s.value / 1e6 for s in slow if s.quantity == quantity and s.status == 0]
    return float(np.median(values)) if values else None


def levels_now(volts: RigVolts, *, seconds: float = 0.2, settle_s: float = SETTLE_S) -> Levels:
    """Return the levels of a running stream from now on."""
    return levels(volts, collect(volts.client, seconds=seconds, settle_s=settle_s))
