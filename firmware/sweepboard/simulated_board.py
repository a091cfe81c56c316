"""A board whose conversions, slow readings, fault line and button come from a simulated rig.

The same service as on a real board, under MicroPython's unix port over pipes (main) or inside CPython (build).
`ask(kind, outputs, n)` returns the simulated rig's answer: for ASK_RAW whole windows of conversions, for ASK_SLOW a
JSON object {"readings": [[quantity, status, value], ...], "fault": bool, "button": bool}. ASK_LIGHT and ASK_BUZZER tell
the simulated rig what the operator is shown and hears.
"""

import json
import struct
import sys

from sweepboard.command_table import LIGHT_MODES
from sweepboard.no_switches import RememberedSwitches
from sweepboard.service import Service
from sweepboard.simulated_source import SimulatedClock, SimulatedSource

ASK_RAW = 1
ASK_SLOW = 2
ASK_START = 4  # sampling begins: the hand starts anew
ASK_IDENTITY = 3  # what hello says of this board, as JSON
ASK_LIGHT = 5  # the light's mode, its place in LIGHT_MODES in the room of the windows
ASK_BUZZER = 6  # a tone, its milliseconds in the room of the windows
ASK_RAMP = 7  # duty of the ramp's PWM, 0 to 65535 in the room of the windows
ASK_FORMAT = "<BBH"  # kind, outputs, windows at most
ANSWER_FORMAT = "<I"  # bytes that follow
STATE_EVERY_MS = 20  # how often fault line and button are looked at


class SimulatedSwitches(RememberedSwitches):
    """Switches that remember; the fault line, the button, the light and the buzzer are the simulated rig's."""

    def __init__(self, fitted, ask):
        super().__init__(fitted)
        self.fitted.add("light")  # as on a Pico it is the board's own, whatever the build
        self.state = {}
        self._ask = ask

    def light(self, mode):
        """Set the rig's light."""
        super().light(mode)
        self._ask(ASK_LIGHT, self.outputs(), LIGHT_MODES.index(mode))

    def buzzer(self, ms):
        """Sound for `ms`."""
        super().buzzer(ms)
        self._ask(ASK_BUZZER, self.outputs(), ms)

    def ramp(self, duty):
        """Set the duty of the ramp's PWM."""
        super().ramp(duty)
        self._ask(ASK_RAMP, self.outputs(), duty)

    def fault(self):
        """Return whether the supply is limited."""
        return bool(self.state.get("fault"))

    def button(self):
        """Return whether the rig's button is down."""
        return bool(self.state.get("button"))


class StartedSource(SimulatedSource):
    """Tells the simulated rig when sampling begins."""

    def __init__(self, ask):
        super().__init__(lambda outputs, n: ask(ASK_RAW, outputs, n))
        self._ask = ask

    def start(self):
        """Fetch from now on."""
        self._ask(ASK_START, self.outputs() if self.outputs else 0, 0)
        super().start()


class SimulatedMonitor:
    """Slow readings of the simulated rig, there as soon as they are asked for."""

    def __init__(self, look):
        self._look = look
        self._readings = None

    def begin(self):
        """Take a reading of every quantity."""
        self._readings = self._look().get("readings", [])

    def poll(self):
        """Return whether readings are there."""
        return self._readings is not None

    def readings(self):
        """Return them, once."""
        readings = self._readings
        self._readings = None
        return readings


def build(port, ask, identity):
    """Return the service of a simulated board. `identity` is what hello says of it."""
    switches = SimulatedSwitches(identity["capabilities"], ask)
    source = StartedSource(ask)
    clock = SimulatedClock(source)

    def look():
        switches.state = json.loads(ask(ASK_SLOW, switches.outputs(), 0))
        return switches.state

    monitor = SimulatedMonitor(look) if "monitor" in identity["capabilities"] else None
    drive, shaft = _driven(identity, ask, clock)
    service = Service(
        port=port, source=source, switches=switches, clock=clock, identity=identity, monitor=monitor, drive=drive,
        selfcheck=lambda: {"simulated": True}, keeping=_keeping(identity),
    )  # fmt: skip
    source.outputs = service.outputs
    service.look = look
    if shaft is not None:
        shaft.streams = lambda: service.stream.running
    return service


def _driven(identity, ask, clock):
    """Return the drive and its shaft; None twice for a build without."""
    if "drive" not in identity["capabilities"]:
        return None, None
    from sweepboard import simulated_drive

    return simulated_drive.make(ask, clock)


def _keeping(identity):
    """Return where sweeps are kept, as the simulated rig's identity says; None: nowhere."""
    if not identity.get("kept"):
        return None
    from sweepboard.simulated_keeping import FileKeeping

    return FileKeeping(identity["kept"])


class Pipe:
    """The port: bytes in from one file, out to another, neither ever waited for."""

    def __init__(self, inp, out):
        import select

        self._in = inp
        self._out = out
        self._poll = select.poll()
        self._poll.register(out, select.POLLOUT)

    def read(self, n):
        """Return what came, at most `n` bytes. SystemExit where the host has closed its end, or died."""
        data = self._in.read(n)
        if data == b"":
            raise SystemExit
        return data or b""

    def writable(self):
        """Return how many bytes the pipe takes at once (PIPE_BUF of POSIX is 512 at least, 4096 on Linux)."""
        return 4096 if self._poll.poll(0) else 0

    def write(self, data):
        """Write what fits; return how much that was."""
        return self._out.write(data) or 0


def _asker(request, answer):
    head = struct.calcsize(ANSWER_FORMAT)

    def ask(kind, outputs, n):
        request.write(struct.pack(ASK_FORMAT, kind, outputs, n))
        size = answer.read(head)
        if len(size) < head:
            raise SystemExit  # the simulated rig is gone
        (size,) = struct.unpack(ANSWER_FORMAT, size)
        return answer.read(size) if size else b""

    return ask


def main():
    """Serve over the file descriptors named on the command line: in, out, request, answer."""
    modes = ("rb", "wb", "wb", "rb")
    files = [open(int(sys.argv[1 + i]), modes[i], buffering=0) for i in range(4)]  # noqa: SIM115
    ask = _asker(files[2], files[3])
    identity = json.loads(ask(ASK_IDENTITY, 0, 0))
    identity["python"] = sys.version
    serve(build(Pipe(files[0], files[1]), ask, identity))


def serve(service):
    """Run the service; look at the fault line and the button now and then while it is busy."""
    clock = service.clock
    looked = clock.ms()
    while not (service.leaving and not service.outbox):
        if not service.step():
            clock.sleep_ms(1)
            _real_sleep_ms(1)
        if service.stream.running and clock.diff_ms(clock.ms(), looked) >= STATE_EVERY_MS:
            looked = clock.ms()
            service.look()


def _real_sleep_ms(n):
    import time

    if hasattr(time, "sleep_ms"):
        time.sleep_ms(n)
    else:
        time.sleep(n / 1000)


if __name__ == "__main__":
    main()
