"""`install` with the real mpremote, over a pseudo-terminal, on an emulated board whose firmware is broken."""

from __future__ import annotations

from pathlib import Path

import pytest

pytestmark = pytest.mark.board


def test_a_broken_firmware_is_mended(image: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    from tests.board.board_pty import on_pty
    from tests.board.conftest import FIRMWARE, firmware_files
    from tests.board.emulated_board import file_system

    from sweeprig.bench.board.install import install
    from sweeprig.link.client import RigClient
    from sweeprig.link.transport import open_port

    folder = tmp_path_factory.mktemp("broken")
    files = firmware_files(folder) | {"main.py": (FIRMWARE / "main.py").read_bytes()}
    files["sweepboard/pins.mpy"] = b"M\x06 not a module"
    files["sweepboard/wire.py"] = b"import nothing"
    files["notes.txt"] = b"the user's own"
    said: list[str] = []
    with on_pty(image, file_system(files, folder)) as link:
        report = install(link.path, progress=said.append, leave=lambda _port: None)
        link.wait_for_reset()
        client = RigClient(open_port(link.path), clock=link.clock)
        hello = client.hello(timeout_s=6.0)
        client.command("prompt")
        client.close()
        checked = install(link.path, check=True, leave=lambda _port: None)
        assert link.failed is None
    assert report.copied == ("sweepboard/pins.mpy",)
    assert report.removed == ("sweepboard/wire.py",)
    assert report.same
    assert report.compiled
    assert hello["chip"] == "rp2040"
    assert checked.same
    assert checked.unchanged == len(files) - 2
    assert said[0] == "asking for the prompt"
