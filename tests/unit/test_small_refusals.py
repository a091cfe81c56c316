"""Small refusals: what is said of a name, a number or a file that does not fit, and what is done all the same."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from typer.testing import CliRunner

from sweeprig.analysis import supply
from sweeprig.capture.file import write_capture
from sweeprig.capture.model import Channel
from sweeprig.cli import web_page
from sweeprig.cli.main import app
from sweeprig.errors import CaptureFileError, FileError, InputError, SweeprigError
from sweeprig.twin import sim_url
from sweeprig.twin.capture import capture_of

runner = CliRunner()


@pytest.mark.parametrize("seed", ["-1", "99999999999999999999", "1.5"])
def test_a_seed_that_is_none_names_its_key(seed: str) -> None:
    with pytest.raises(InputError) as raised:
        sim_url.parse(f"sim://good?seed={seed}")
    assert "seed" in str(raised.value)
    assert "whole number" in str(raised.value)


@pytest.mark.parametrize("name", ["", "."])
def test_a_folder_is_called_a_folder(name: str) -> None:
    with pytest.raises(FileError, match="is a folder"):
        runner.invoke(app, ["review", name], catch_exceptions=False)


@pytest.mark.parametrize("command", ["profile check", "config show"])
def test_a_long_name_of_a_table_holds_nobody_up(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The TOML reader takes a minute and more for a dotted name of 1 MB; no settings are so long."""
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path))
    file = tmp_path / ("config.toml" if command.startswith("config") else "long.toml")
    file.write_text(f"[{'.'.join(['a'] * 50_000)}]\nx = 1\n")
    args = [*command.split(), *([str(file)] if "check" in command else [])]
    with pytest.raises(SweeprigError) as refused:
        runner.invoke(app, args, catch_exceptions=False)
    assert "more than 65536" in refused.value.seen


def test_a_link_in_a_circle_stops_no_other_sheet(tmp_path: Path) -> None:
    good = Path(write_capture(tmp_path / "a.sweep", capture_of("good", seconds=2.0, seed=1)).path)
    for name, to in (("b.sweep", "c.sweep"), ("c.sweep", "b.sweep")):
        (tmp_path / name).symlink_to(to)
    done = runner.invoke(app, ["sheet", str(tmp_path / "b.sweep"), str(good)])
    assert done.exit_code == FileError.exit_code
    assert done.stdout.split() == [str(good.with_suffix(".html"))]
    assert "File not found" in done.stderr


def test_a_bad_file_among_several_stops_no_other_sheet(tmp_path: Path) -> None:
    captures = [
        Path(write_capture(tmp_path / f"{name}.sweep", capture_of("good", seconds=2.0, seed=k)).path)
        for k, name in enumerate("ac")
    ]
    bad = tmp_path / "b.sweep"
    bad.write_bytes(b"no capture")
    done = runner.invoke(app, ["sheet", str(captures[0]), str(bad), "99", str(captures[1])])
    assert done.exit_code in (CaptureFileError.exit_code, 7)
    assert done.stdout.split() == [str(path.with_suffix(".html")) for path in captures]
    assert "b.sweep is not a capture file" in done.stderr
    assert "2 of 4 done" in done.stderr


@pytest.mark.parametrize("content", [b"[" * 1000, b""])
def test_recover_does_not_end_well_over_a_journal_set_aside(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.journal").write_bytes(content)
    with pytest.raises(CaptureFileError, match="could not be recovered") as raised:
        runner.invoke(app, ["recover", str(tmp_path)], catch_exceptions=False)
    assert "a.journal-unusable" in raised.value.seen
    again = runner.invoke(app, ["recover", str(tmp_path)])
    assert again.exit_code == 0
    assert "Nothing to recover" in again.stderr


@pytest.mark.parametrize("n", [40_000, 60_000])
def test_a_sag_of_120_ms_shows_at_any_length(n: int) -> None:
    v = np.full(n, 5.0)
    v[20_000:20_120] = 4.5
    seen = supply.look(Channel(v, v, v), nominal_v=5.0, window_s=0.001)
    assert seen.sag_percent == pytest.approx(10.0, abs=0.1)


@pytest.mark.parametrize("command", [["list"], ["history", "x"]])
def test_a_limit_beyond_any_table_is_refused(command: list[str]) -> None:
    done = runner.invoke(app, ["records", *command, "--limit", "99999999999999999999999"])
    assert done.exit_code == 2
    assert "--limit" in done.output


@pytest.mark.parametrize(("is_terminal", "words"), [(True, "Enter ends."), (False, "Ctrl-C ends.")])
def test_a_page_names_the_key_that_ends_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], is_terminal: bool, words: str
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: is_terminal, raising=False)
    monkeypatch.setattr(web_page, "single_keys", nullcontext)
    web_page.stay(SimpleNamespace(stays=True, pressed=lambda _: "\n"))  # type: ignore[arg-type]
    assert f"The page stays. {words}" in capsys.readouterr().err
