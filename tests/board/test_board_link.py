"""The host's own client talks to the emulated board over a pseudo-terminal, through pyserial."""

from __future__ import annotations

from pathlib import Path

import pytest

from sweepboard import wire

pytestmark = pytest.mark.board


def test_the_client_streams_from_the_board(image: Path, rig_disk: Path) -> None:
    from tests.board.board_pty import on_pty

    from sweeprig.link.client import RigClient
    from sweeprig.link.messages import Records
    from sweeprig.link.transport import open_port

    with on_pty(image, rig_disk) as link:
        client = RigClient(open_port(link.path), clock=link.clock)
        hello = client.hello()
        assert hello["chip"] == "rp2040"
        client.start("powered")
        parts: list[Records] = []
        deadline = link.clock() + 5.0
        while sum(map(len, parts)) < 100 and link.clock() < deadline and link.failed is None:
            parts += [event for event in client.poll(0.2) if isinstance(event, Records)]
        figures = client.stop()
        status = client.status()
        client.close()
        assert link.failed is None
    records = Records.concatenate(parts)
    assert records.index[:100].tolist() == list(range(100))
    assert (records.sums[:100] == [166 * 1000, 166 * 1500, 166 * 2000]).all()
    assert (records.mins == [1000, 1500, 2000]).all()
    assert records.flags[0] == wire.FLAG_SPLICE
    assert figures["windows_dropped"] == 0
    assert not status.streaming
    assert status.reset_cause == 1
    assert (client.counts.n_bad, client.counts.n_sequence_lost) == (0, 0)
