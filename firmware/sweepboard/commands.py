"""The commands: what the host can ask for, and what it is refused."""

import gc
import json
import struct

from sweepboard import wire
from sweepboard.arguments import RefusedError
from sweepboard.command_table import arguments

RESET_CODES = {"power on": 1, "reset pin": 2, "watchdog": 3, "software": 4, "debugger": 5}  # else 0


class Commands:
    """The commands of one rig (a Service). Each returns what goes into its reply, or None if it answered itself."""

    def __init__(self, rig):
        self.rig = rig
        self._checked = {}

    def table(self):
        """Return name -> (method, {argument: (check, default)}): see command_table.py."""
        takes = arguments(self.rig.source, self.rig.snapshots)
        return {name: (getattr(self, "_" + name), takes[name]) for name in takes}

    def _hello(self, number):
        if not self.rig.stream.running:
            self._set_tapped(False)
            self._run_selfcheck()
        about = dict(self.rig.identity)
        about.update(
            {
                "id": number,
                "capabilities": sorted(self.rig.fitted()),
                "protocol": wire.PROTOCOL,
                "channels": self.rig.source.channels,
                "window": self.rig.source.window,
                "conversion_hz": self.rig.source.conversion_hz,
                "records_per_packet": wire.RECORDS_PER_PACKET,
                "self_check": self._checked,
            }
        )
        self.rig.outbox.add(wire.HELLO, self.rig.stream.index, json.dumps(about).encode())

    def _start(self, number, hookup):
        if hookup not in self.rig.identity["hookups"]:
            raise RefusedError("refused", "this build does not allow the hookup %s" % hookup)
        powered_lead = self.rig.supply_guard.powered_lead()
        if hookup == "powered" and powered_lead is False:
            raise RefusedError("refused", "the powered lead is not plugged in")
        if hookup == "tapped" and powered_lead:
            raise RefusedError("refused", "the powered lead is plugged in")
        if self.rig.stream.running:
            self.rig.stream.abandon()
        self.rig.ramp.stop()
        self._set_tapped(hookup == "tapped")
        self.rig.switches.bias("off")
        gc.collect()
        self.rig.stream.start()
        if self.rig.watchdog is not None:
            self.rig.watchdog.start()
        return {
            "window": self.rig.source.window,
            "conversion_hz": self.rig.source.conversion_hz,
            "hookup": hookup,
        }

    def _set_tapped(self, tapped):
        self.rig.tapped = tapped
        if tapped:
            every_ms = self.rig.slow_every_ms
            self.rig.make_safe()
            self.rig.slow_every_ms = every_ms  # looking feeds nothing in
        self.rig.switches.tapped = tapped

    def _stop(self, number):
        if self.rig.drive is not None:
            self.rig.drive.free()
        self.rig.stream.stop()
        self.rig.end_watch()
        return self._figures()

    def _figures(self):
        counts = self.rig.stream.counts
        return {
            "windows_made": counts.made,
            "windows_sent": counts.sent,
            "windows_dropped": counts.dropped,
            "conversions_lost": counts.conversions_lost,
            "conversions_in_error": counts.conversions_in_error,
            "bad_commands": self.rig.n_unheard(),
            "snapshots_skipped": self.rig.snapshots.n_skipped,
            "index": self.rig.stream.index,
            "ramp_permille": self.rig.ramp.permille(),
        }

    def _status(self, number):
        free = gc.mem_free() if hasattr(gc, "mem_free") else 0
        if self.rig.stream.running:
            self.rig.stream.pump()  # what came meanwhile: counting the heap takes 9 ms
        counts = self.rig.stream.count_conversions()
        cause = RESET_CODES.get(self.rig.identity.get("reset_cause"), 0)
        payload = struct.pack(
            wire.STATUS_FORMAT, counts.made, counts.sent, counts.dropped, counts.conversions_lost,
            counts.conversions_in_error, self.rig.n_unheard(), free, self.rig.stream.running, cause, 0,
        )  # fmt: skip
        self.rig.outbox.add(wire.STATUS, self.rig.stream.index, payload)
        return self._figures()

    def _fitted(self, part):
        if part not in self.rig.fitted():
            raise RefusedError("not-fitted", "this build has no %s" % part)

    def _supply(self, number, on):
        self._fitted("supply-switch")
        if on:
            self.rig.supply_guard.must_be_allowed("supply")
            self.rig.ramp.must_rest()
            self.rig.supply_guard.must_be_dead()
        self.rig.switches.supply(on)
        return {"on": on}

    def _burden(self, number, on):
        self._fitted("burden")
        if on:
            self.rig.supply_guard.must_be_allowed("burden")
        self.rig.switches.burden(on)
        return {"on": on}

    def _bias(self, number, mode):
        self._fitted("bias")
        if mode != "off":
            self.rig.supply_guard.must_be_allowed("bias")
        self.rig.switches.bias(mode)
        return {"mode": mode}

    def _light(self, number, mode):
        self._fitted("light")
        self.rig.switches.light(mode)
        return {"mode": mode}

    def _buzzer(self, number, ms):
        self._fitted("buzzer")
        self.rig.switches.buzzer(ms)
        return {"ms": ms}

    def _snapshots(self, number, spread, jump, before, after, per_second):
        self._fitted("snapshots")
        self.rig.snapshots.set(spread, jump, before, after, per_second)
        return {"on": self.rig.snapshots.on}

    def _histogram(self, number, channel, windows):
        self._fitted("histogram")
        if not self.rig.stream.running:
            raise RefusedError("not-now", "a histogram needs a running stream: start first")
        if self.rig.histogram.busy:
            raise RefusedError("busy", "a histogram is being made")
        self.rig.histogram.set(channel, windows)
        return {"channel": channel, "windows": windows}

    def _ramp(self, number, leg_ms, legs):
        self._fitted("ramp")
        if leg_ms:
            self.rig.supply_guard.must_be_allowed("a ramp")
        return self.rig.ramp.command(
            leg_ms, legs, self.rig.outputs() & wire.OUT_SUPPLY, self.rig.stream.running
        )

    def _run_selfcheck(self):
        if self.rig.selfcheck is not None:
            self._checked = self.rig.selfcheck()

    def _selfcheck(self, number):
        if self.rig.stream.running:
            raise RefusedError("not-now", "the self-check needs the converter for itself: stop first")
        self._run_selfcheck()
        return {"self_check": self._checked}

    def _slow(self, number, every_ms):
        if self.rig.monitor is None:
            raise RefusedError("not-fitted", "this build has no monitor")
        self.rig.slow_every_ms = every_ms
        self.rig.slow_ms = self.rig.clock.ms()
        if every_ms:
            self.rig.monitor.begin()
        return {"every_ms": every_ms}

    def _drive(self, number, action, position, speed):
        if self.rig.drive is None:
            raise RefusedError("not-fitted", "this build has no drive")
        if action not in ("stop", "free", "where"):
            self.rig.supply_guard.must_be_allowed("drive")
        try:
            return self.rig.drive.command(action, position, speed)
        except ValueError as problem:
            raise RefusedError("refused", str(problem)) from None

    def _prompt(self, number):
        self.rig.stream.stop()
        self.rig.end_watch()
        self.rig.make_safe()
        self.rig.leaving = True
        return {"leaves": "the service ends; the board's prompt is free until the next reset"}
