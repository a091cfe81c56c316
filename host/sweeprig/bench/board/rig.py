"""Find, open and identify a rig; the only place that knows how to open `sim://` addresses."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from sweeprig.errors import InputError
from sweeprig.link.client import RigClient
from sweeprig.link.ports import choose_port
from sweeprig.link.transport import open_port

SIMULATED = "sim://"
PATIENCE = (
    60.0  # times as long as a real board a simulated one may take: it waits for a busy computer; own choice
)


def port_of(port: str) -> str:
    """Return the port to open: the one named, or the only rig attached. Raises InputError for sim: without //."""
    nearly = re.fullmatch(r"(?i)sim:/{0,2}([^/].*)", port)
    if nearly and not port.startswith(SIMULATED):
        raise InputError(
            "This is not the address of a simulated rig.",
            seen=port,
            limit=f"{SIMULATED} and the name of a simulated sensor",
            next_step=f"{SIMULATED}{nearly[1]}",
        )
    return choose_port(port or None)


def look_for(port: str) -> None:
    """Open the rig on `port`, identify it and close it. Raises the error that prevents its use."""
    with opened_rig(port):
        pass


@contextmanager
def opened_rig(port: str) -> Iterator[RigClient]:
    """Open the rig on `port` ("": the only one attached), identify it, and close it at the end."""
    if port.startswith(SIMULATED):
        from sweeprig import twin

        twin.register()
    patience = PATIENCE if port.startswith(SIMULATED) else 1.0
    client = RigClient(open_port(port_of(port)), patience=patience)
    try:
        client.hello()
        yield client
    finally:
        client.close()
