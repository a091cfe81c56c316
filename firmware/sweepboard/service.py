"""The command loop: what the host asks for, what the rig streams. It knows no pins.

Service(port=, source=, switches=, clock=, identity=) works on the interfaces that docs/reference/firmware.md lists.
"""

import json
import struct

from sweepboard import wire
from sweepboard.arguments import RefusedError, checked, named, number_of, parsed, shown
from sweepboard.commands import Commands
from sweepboard.inbox import Inbox
from sweepboard.outbox import Outbox
from sweepboard.ramp import Ramp
from sweepboard.stream import Stream, flags_of
from sweepboard.supply_guard import SupplyGuard
from sweepboard.tidy import Tidy
from sweepboard.watchers import Histogram, Snapshots

SUPPLY_IDLE_MS = 10000  # without a stream: a host that is silent for so long is gone
BUTTON_MS = 30  # a press or release counts when it has held for so long
IDLE_MS = 5
STREAMING_MS = 4  # so that each cycle finds a few windows and its own cost is shared
WRITING_MS = 1
LONG_MS = 8


class Service:
    """One rig.

    Optional: `monitor`, `drive`, `watchdog`, `selfcheck` (returns a dict), `counts` (see Histogram), `tidy` (collects
    the heap).
    """

    def __init__(
        self,
        *,
        port,
        source,
        switches,
        clock,
        identity,
        monitor=None,
        drive=None,
        watchdog=None,
        selfcheck=None,
        keeping=None,
        counts=None,
        tidy=None,
    ):
        self.port, self.source, self.switches = port, source, switches
        self.clock, self.identity = clock, identity
        self.monitor = monitor
        self.drive = drive
        self.watchdog = watchdog
        self.selfcheck = selfcheck
        self.tapped = False
        self.inbox = Inbox(port, clock)
        self.outbox = Outbox(port)
        self.stream = Stream(source, self.outbox, clock)
        self.snapshots = Snapshots(source, self.outbox)
        self.histogram = Histogram(source, self.outbox, counts)
        self.stream.watchers = [self.snapshots, self.histogram]
        self.ramp = Ramp(switches, clock)
        self.supply_guard = SupplyGuard(self)
        self._begin(clock.ms())
        self.tidy = Tidy(self, tidy)
        self._switches_tick = getattr(switches, "tick", None)  # for a tone that ends, a light that blinks
        self._commands = Commands(self).table()
        self.keeper = None  # keeps sweeps on the board while no host is there
        self._own_outbox = self.outbox
        if keeping is not None:
            from sweepboard.keep_commands import KeepCommands

            self._commands.update(KeepCommands(self, keeping).table())

    def _begin(self, now_ms):
        self.leaving = False
        self.bad_commands = 0
        self._heard_ms = self._host_ms = self._pressed_ms = self.slow_ms = now_ms
        self.slow_every_ms = self._presses = 0
        self._pressed = self._press_told = False

    # --- the cycle

    def run(self):
        """Serve until `prompt` is asked for and answered."""
        while not (self.leaving and not self.outbox):
            busy = self.step()
            if self.stream.running:
                if not (self.stream.behind or self.inbox.flooded):
                    self.clock.sleep_ms(WRITING_MS if self.outbox else STREAMING_MS)
            elif not busy:
                self.clock.sleep_ms(IDLE_MS)
        self.make_safe()
        self.switches.light("off")

    def step(self):
        """Do one cycle without waiting; return whether there was anything to do."""
        if self.watchdog is not None and self.stream.running:
            self.watchdog.feed()
        busy = self._listen()
        self._look_at_rig()
        taken_ms = self.clock.ms()
        if self.stream.running:
            busy = self.stream.pump() or busy
            self.tidy.tick(taken_ms)
        if self.keeper is not None:
            self.keeper.tick()
        self.ramp.tick(self.stream.running, self.histogram.on)
        self.histogram.send(self.stream.index)
        if self.monitor is not None and self.slow_every_ms:
            self._read_slowly()
        self._mind_silence()
        wrote = self.outbox.write()
        if self.stream.running and self.clock.diff_ms(self.clock.ms(), taken_ms) >= LONG_MS:
            self.stream.pump()  # so that windows never wait for both what is written and what is heard next
        return bool(wrote) or bool(busy)

    def _listen(self):
        if self.leaving or not self.outbox.takes_replies():
            self.inbox.rest()
            return 0
        n = self.inbox.read(self.stream.running)
        if self.inbox.flooded:
            self.stream.pump()  # reading took a third of the time that the buffers hold
        for run in self.inbox.messages():
            self._hear(run)
        return n

    def _hear(self, run):
        message = wire.open_message(run)
        if message is None or message[1] != wire.PROTOCOL or message[0] not in (wire.COMMAND, wire.ALIVE):
            self.bad_commands += message is not None
            if message is not None and message[1] != wire.PROTOCOL:
                self._refuse(
                    None, RefusedError("malformed", "protocol %d, not %d" % (message[1], wire.PROTOCOL))
                )
            return
        self._heard_ms = self._host_ms = self.clock.ms()
        if message[0] == wire.COMMAND:
            if self.stream.running:
                self.tidy.before_command()
            self._obey(message[4])

    def _obey(self, payload):
        number = None
        try:
            command = parsed(payload)
            number = number_of(command)
            do, takes = named(command, self._commands)
            if self.keeper is not None:
                self.keeper.host_came()
            answer = do(number, **checked(command, takes))
            if answer is not None:
                self._reply(number, answer)
        except RefusedError as refusal:
            self._refuse(number, refusal)
        except Exception as problem:  # noqa: BLE001  (a part that fails must not end the service)
            self.make_safe()
            self._refuse(number, RefusedError("failed", "%s: everything is off" % shown(problem)))

    def _reply(self, number, answer):
        answer["id"] = number
        answer["ok"] = True
        self.outbox.add(wire.REPLY, self.stream.index, json.dumps(answer).encode())

    def _refuse(self, number, refusal):
        self.bad_commands += 1
        if not self.outbox.takes_replies():
            return
        answer = {"id": number, "ok": False, "error": refusal.error, "reason": refusal.reason}
        self.outbox.add(wire.REPLY, self.stream.index, json.dumps(answer).encode())

    # --- for the keeper

    def ask(self, name, **arguments):
        """Do a command as a host's; RefusedError as a host is refused."""
        do, takes = self._commands[name]
        arguments["cmd"] = name
        return do(0, **checked(arguments, takes))

    def route(self, outbox):
        """Let all messages go to `outbox` instead of the port; None ends that."""
        self.outbox = self._own_outbox if outbox is None else outbox
        self.stream.route(self.outbox)
        self.snapshots.route(self.outbox)

    def host_is_there(self):
        """Return whether a host has spoken within KEEP_ALIVE_MS."""
        return self.clock.diff_ms(self.clock.ms(), self._host_ms) <= wire.KEEP_ALIVE_MS

    def n_unheard(self):
        """Return how many messages were refused or, in a flood, dropped."""
        return self.bad_commands + self.inbox.n_dropped

    # --- the rig around it

    def fitted(self):
        """Return the set of capability words of this rig."""
        words = set(self.switches.fitted) | set(self.identity.get("capabilities", ()))
        if getattr(self.source, "has_raw", True):
            words |= {"snapshots", "histogram"}
        if self.monitor is not None:
            words.add("monitor")
        if self.drive is not None:
            words.add("drive")
        if "kept" in self._commands:
            words.add("keep")
        return words

    def outputs(self):
        """Return what is switched on, as bits OUT_*."""
        return self.switches.outputs() | (wire.OUT_TAPPED if self.tapped else 0)

    def _look_at_rig(self):
        tick = self._switches_tick
        if tick is not None:
            tick()
        self.supply_guard.tick(self.switches.outputs())
        self.stream.flags = flags_of(self.switches.outputs(), self.switches.fault(), self._button_down())
        if self.drive is not None:
            self.stream.position = self.drive.tick()

    def _button_down(self):
        """Return whether the button is down; tell the host of each press once."""
        down = self.switches.button()
        now = self.clock.ms()
        if down != self._pressed:
            self._pressed = down
            self._pressed_ms = now
        elif down != self._press_told and self.clock.diff_ms(now, self._pressed_ms) >= BUTTON_MS:
            self._press_told = down
            if down and self.outbox.takes_replies() and (self.stream.running or self.host_is_there()):
                self._presses = (self._presses + 1) & 0xFFFF
                mark = struct.pack(wire.MARK_FORMAT, 0, 0, self._presses)
                self.outbox.add(wire.MARK, self.stream.index, mark)
        return down

    def _read_slowly(self):
        now = self.clock.ms()
        if self.monitor.poll() and self.outbox.takes_replies():
            readings = [struct.pack(wire.SLOW_FORMAT, q, s, 0, v) for q, s, v in self.monitor.readings()]
            self.outbox.add(wire.SLOW, self.stream.index, b"".join(readings))
        if self.clock.diff_ms(now, self.slow_ms) >= self.slow_every_ms:
            self.slow_ms = now
            self.monitor.begin()

    def _mind_silence(self):
        if self.keeper is not None and self.keeper.running:
            return
        silent_ms = self.clock.diff_ms(self.clock.ms(), self._heard_ms)
        if self.stream.running and silent_ms > wire.KEEP_ALIVE_MS:
            self.stream.abandon()
            self.end_watch()
            self.make_safe()
            self.switches.light("off")
        elif self.drive is not None and self.drive.moving and silent_ms > wire.KEEP_ALIVE_MS:
            self.drive.free()
        elif silent_ms > SUPPLY_IDLE_MS:
            self._heard_ms = self.clock.ms()
            self.make_safe()

    def make_safe(self):
        """Feed nothing in and move nothing."""
        self.release()
        self.slow_every_ms = 0
        if self.drive is not None:
            self.drive.free()

    def release(self):
        """Feed nothing into the leads."""
        self.ramp.stop()
        self.switches.supply(False)
        self.switches.burden(False)
        self.switches.bias("off")

    def end_watch(self):
        """Stop the watchdog."""
        if self.watchdog is not None:
            self.watchdog.stop()
