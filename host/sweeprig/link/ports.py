"""Which boards are attached, by their USB ids."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from sweeprig.errors import ManyRigsError, NoRigError

USB_IDS: dict[tuple[int, int | None], str] = {
    # vendor, product (None: any): what it is. USB-IF assigns vendor numbers; the products are those that the
    # boards' own firmware announces.
    (0x2E8A, 0x0005): "Raspberry Pi RP2 board running MicroPython",
    (0x2E8A, 0x000A): "Raspberry Pi RP2 board with a serial port",
    (0x2E8A, 0x0003): "RP2040 in boot mode, waiting for a firmware image",
    (0x2E8A, 0x000F): "RP2350 in boot mode, waiting for a firmware image",
    (0x2E8A, None): "Raspberry Pi board",
    (0xF055, 0x9800): "board running MicroPython",
    (0xF055, None): "board running MicroPython",
}


@dataclass(frozen=True)
class RigPort:
    """One serial port of a board that can be a rig."""

    device: str  # to be opened
    description: str
    serial_number: str | None
    vendor_id: int
    product_id: int


def _comports() -> Iterable[Any]:
    from serial.tools.list_ports import comports

    found: Iterable[Any] = comports()
    return found


def what_is(vendor_id: int, product_id: int) -> str | None:
    """Return what the ids stand for, or None where it is no board of ours."""
    return USB_IDS.get((vendor_id, product_id)) or USB_IDS.get((vendor_id, None))


def list_rigs(comports: Callable[[], Iterable[Any]] = _comports) -> list[RigPort]:
    """Return the boards that are attached, by device name. `comports` as in pyserial's list_ports."""
    found = []
    for port in sorted(comports(), key=lambda p: str(p.device)):
        what = what_is(port.vid, port.pid) if port.vid is not None and port.pid is not None else None
        if what:
            found.append(RigPort(port.device, what, port.serial_number or None, port.vid, port.pid))
    return found


def choose_port(named: str | None, comports: Callable[[], Iterable[Any]] = _comports) -> str:
    """Return the port named (device, URL, or a rig's USB serial number), or the only rig attached.

    Raises NoRigError where none is attached, ManyRigsError where several are and none was named.
    """
    if named and ("://" in named or "/" in named):
        return named
    rigs = list_rigs(comports)
    if named:
        return next((rig.device for rig in rigs if rig.serial_number == named), named)
    if len(rigs) != 1:
        raise _many(rigs) if rigs else _none()
    return rigs[0].device


def _none() -> NoRigError:
    return NoRigError(
        "No rig is attached.",
        seen="no board with a known USB id",
        next_step="plug the rig in with a data cable (not a charging cable), or name it with --port; "
        "without a rig: sweeprig demo",
    )


def _many(rigs: list[RigPort]) -> ManyRigsError:
    return ManyRigsError(
        "More than one rig is attached.",
        seen="; ".join(f"{rig.device} (serial {rig.serial_number or 'unknown'})" for rig in rigs),
        limit="one, or a name",
        next_step="name one with --port and its device or serial number",
    )
