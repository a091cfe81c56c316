"""Ports by USB id, and the one table of foreign errors."""

from __future__ import annotations

import ast
import errno
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import serial

from sweeprig.errors import (
    LinkError,
    ManyRigsError,
    NoRigError,
    PortBusyError,
    PortLostError,
    PortMissingError,
    PortPermissionError,
)
from sweeprig.link import foreign
from sweeprig.link.ports import choose_port, list_rigs
from sweeprig.link.transport import SerialTransport, open_port


def port(device: str, vid: int | None, pid: int | None, serial_number: str | None = None) -> Any:
    return SimpleNamespace(device=device, vid=vid, pid=pid, serial_number=serial_number)


PICO = port("/dev/ttyACM1", 0x2E8A, 0x0005, "e6614103e7")
OTHER_PICO = port("/dev/ttyACM0", 0x2E8A, 0x1234, "aabb")
PRINTER = port("/dev/ttyUSB0", 0x0403, 0x6001, "x")
BUILT_IN = port("/dev/ttyS0", None, None)


def test_boards_are_known_by_their_usb_ids() -> None:
    rigs = list_rigs(lambda: [PRINTER, PICO, BUILT_IN, OTHER_PICO])
    assert [(r.device, r.serial_number) for r in rigs] == [
        ("/dev/ttyACM0", "aabb"),
        ("/dev/ttyACM1", "e6614103e7"),
    ]
    assert "MicroPython" in rigs[1].description


def test_the_only_rig_is_the_default() -> None:
    assert choose_port(None, lambda: [PRINTER, PICO]) == "/dev/ttyACM1"


def test_no_rig_and_many_rigs_say_what_to_do() -> None:
    with pytest.raises(NoRigError, match=r"data cable.*--port.*sweeprig demo"):
        choose_port(None, lambda: [PRINTER, BUILT_IN])
    with pytest.raises(ManyRigsError, match=r"ttyACM0 \(serial aabb\).*ttyACM1") as caught:
        choose_port(None, lambda: [PICO, OTHER_PICO])
    assert "--port" in str(caught.value)


def test_a_rig_may_be_named_by_device_url_or_serial_number() -> None:
    both = [PICO, OTHER_PICO]
    assert choose_port("e6614103e7", lambda: both) == "/dev/ttyACM1"
    assert choose_port("COM7", lambda: both) == "COM7"
    for named in ("/dev/ttyACM9", "sim://good?seed=1", "socket://bench:4000"):
        assert choose_port(named, lambda: pytest.fail("a named port needs no search")) == named


# --- foreign errors


def _raised_in_pyserial() -> set[str]:
    """Return the classes that pyserial's own sources raise."""
    names = set()
    root = Path(serial.__file__).parent
    for source in [*root.glob("*.py"), *(root / "urlhandler").glob("*.py")]:
        for node in ast.walk(ast.parse(source.read_text())):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                func = node.exc.func
                names.add(func.attr if isinstance(func, ast.Attribute) else getattr(func, "id", ""))
    return names


LEFT_OUT = {
    "ImportError"
}  # raised at import where the platform has no serial support: nothing to open at all


def _instances() -> list[BaseException]:
    import builtins
    import termios

    from serial import rfc2217, serialutil

    made: list[BaseException] = [termios.error(25, "Inappropriate ioctl for device")]
    for name in sorted(_raised_in_pyserial() - LEFT_OUT):
        cls = next(getattr(m, name) for m in (serialutil, rfc2217, builtins) if hasattr(m, name))
        made.append(cls() if name == "PortNotOpenError" else cls("text"))
    made += [OSError(number, "text") for number in errno.errorcode]
    made += [serial.SerialException(number, "text") for number in errno.errorcode]
    return made


@pytest.mark.parametrize("phase", ["open", "use"])
def test_nothing_that_pyserial_or_the_system_raises_is_unmapped(phase: foreign.Phase) -> None:
    assert {
        "SerialException",
        "SerialTimeoutException",
        "PortNotOpenError",
        "ValueError",
    } <= _raised_in_pyserial()
    unmapped = []
    for exc in _instances():
        error = foreign.ours(exc, port="COM1", phase=phase)
        if error is None:
            unmapped.append(exc)
        else:
            assert "COM1" in error.what
            assert error.next_step
            assert error.seen
    assert unmapped == []


def test_what_is_no_port_error_stays_the_bug_it_is() -> None:
    class Broken:
        in_waiting = 1
        timeout = 0

        def read(self, _n: int) -> bytes:
            raise ZeroDivisionError

    assert foreign.ours(KeyError("x"), port="p", phase="use") is None
    with pytest.raises(ZeroDivisionError):
        SerialTransport(Broken(), "p").read(0.1)


@pytest.mark.parametrize(
    ("exc", "phase", "kind"),
    [
        (OSError(errno.EACCES, "no"), "open", PortPermissionError),
        (serial.SerialException(errno.EAGAIN, "locked"), "open", PortBusyError),
        (serial.SerialException(errno.EBUSY, "busy"), "open", PortBusyError),
        (serial.SerialException("'COM3': PermissionError(13, 'Access is denied.')"), "open", PortBusyError),
        (serial.SerialException("port 'COM3': FileNotFoundError(2, 'x')"), "open", PortMissingError),
        (serial.SerialException(errno.ENOENT, "none"), "open", PortMissingError),
        (OSError(errno.EIO, "gone"), "use", PortLostError),
        (OSError(errno.EACCES, "gone"), "use", PortLostError),
    ],
)  # fmt: skip
def test_rows_of_the_table(exc: OSError, phase: foreign.Phase, kind: type[LinkError]) -> None:
    assert type(foreign.ours(exc, port="p", phase=phase)) is kind


def test_the_permission_hint_fits_the_system() -> None:
    assert "dialout" in foreign.permission_step("linux")
    assert "2e8a" in foreign.permission_step("linux")
    assert "close the other program" in foreign.permission_step("win32")


@pytest.mark.parametrize("url", ["nonsense://x", "/dev/no-such-port", "no-such-port", "loop://?nonsense=1"])
def test_a_port_that_is_none_is_missing(url: str) -> None:
    with pytest.raises(PortMissingError, match="sweeprig rigs"):
        open_port(url)


def test_a_file_is_no_port(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"x")
    with pytest.raises(PortMissingError):
        open_port(str(path))


def test_bytes_go_round_over_a_url() -> None:
    transport = open_port("loop://")
    assert transport.read(0.0) == b""
    transport.write(b"abc")
    assert transport.read(0.1) == b"abc"
    transport.close()
    transport.close()
    with pytest.raises(PortLostError):
        transport.read(0.1)
