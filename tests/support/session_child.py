"""A command with a rig, each of whose switches stands in a file once the board has said that it is done.

python -m support.session_child LOG COMMAND ...: without --port the rig is a scripted one.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sweeprig.bench.board.rig
from support.scripted_rig import ScriptedRig, client_of, sensor
from sweeprig.link.client import RigClient


@contextmanager
def scripted(_port: str) -> Iterator[RigClient]:
    """Stand in for the opened port."""
    yield client_of(ScriptedRig(sensor()))


def tell_into(log: Path) -> None:
    """Note every command that the board has carried out."""
    command = RigClient.command

    def told(client: RigClient, cmd: str, **args: Any) -> dict[str, Any]:
        reply = command(client, cmd, **args)
        with log.open("a", encoding="utf-8") as out:
            out.write(" ".join([cmd, *(str(v) for v in args.values())]) + "\n")
        return reply

    RigClient.command = told  # type: ignore[method-assign]


if __name__ == "__main__":
    tell_into(Path(sys.argv[1]))
    del sys.argv[1]
    if "--port" not in sys.argv:
        sweeprig.bench.board.rig.opened_rig = scripted
    from sweeprig.cli.main import run

    run()
