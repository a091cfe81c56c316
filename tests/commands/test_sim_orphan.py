"""A simulated board ends with its host, even where the host is killed before it streams."""

from __future__ import annotations

import os
import select
import subprocess
import sys

import pytest

from sweeprig.twin.machines import find_micropython

HOST = """
import sys
from sweeprig.bench.board.rig import opened_rig
with opened_rig("sim://good?pace=fast&vm=micropython") as client:
    print(client._transport._port._machine._process.pid, flush=True)
    sys.stdin.read()
"""


@pytest.mark.micropython
@pytest.mark.skipif(not hasattr(os, "pidfd_open"), reason="needs Linux")
def test_a_simulated_board_dies_with_its_killed_host() -> None:
    if find_micropython() is None:
        pytest.skip("needs the micropython command")
    host = subprocess.Popen(
        [sys.executable, "-c", HOST], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with host:
        assert host.stdout is not None
        board = os.pidfd_open(int(host.stdout.readline()))
        try:
            host.kill()
            ended, _, _ = select.select([board], [], [], 20.0)
            assert ended, "the board runs on without a host"
        finally:
            os.close(board)
