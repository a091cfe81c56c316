"""What is typed or set and cannot be: a home of nobody, a track of 1e300 ohm, a home that takes no files."""

from __future__ import annotations

import errno
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from sweeprig.bench.shop.places import find_places
from sweeprig.capture.file import write_capture
from sweeprig.cli.main import app
from sweeprig.errors import ConfigError, SweeprigError
from sweeprig.records.errors import RecordsUrlError
from sweeprig.records.store import open_store
from sweeprig.twin.capture import capture_of

NOBODY = "~nobody-of-this-name/sweeprig"


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("told") / "a.sweep"
    write_capture(file, capture_of("good", seconds=2.0))
    return file


def call(*args: str | Path) -> Result:
    result = CliRunner().invoke(app, [str(a) for a in args])
    assert result.exception is None or isinstance(result.exception, SystemExit | SweeprigError), (
        result.exception
    )
    return result


def test_a_home_of_nobody_is_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SWEEPRIG_HOME", NOBODY)
    with pytest.raises(ConfigError, match="SWEEPRIG_HOME") as caught:
        find_places()
    assert caught.value.seen == NOBODY
    for args in (
        ("config", "show"),
        ("records", "list"),
        ("calibrate", "list"),
        ("sweep", "--port", "sim://good"),
    ):
        assert isinstance(call(*args).exception, ConfigError)


def test_records_at_a_home_of_nobody_are_told_of() -> None:
    with pytest.raises(RecordsUrlError) as caught, open_store(NOBODY):
        pass
    assert caught.value.seen == NOBODY
    assert call("config", "set", "records_url", NOBODY).exit_code == 0
    assert isinstance(call("records", "list").exception, RecordsUrlError)


def test_captures_of_nobody_are_told_of_before_a_sweep() -> None:
    assert call("config", "set", "captures", NOBODY).exit_code == 0
    error = call("sweep", "--port", "sim://good?pace=fast", "--seconds", "2").exception
    assert isinstance(error, ConfigError)
    assert "config set captures" in error.next_step


@pytest.mark.parametrize("ohm", ["1e300", "inf", "nan", "-5", "0", "2e6"])
def test_a_track_that_no_sensor_has_is_refused(capture: Path, ohm: str) -> None:
    for args in (("review", capture), ("sheet", capture), ("sweep", "--port", "sim://good?pace=fast")):
        assert call(*args, "--track-ohm", ohm).exit_code == 2
    assert call("review", capture, "--track-ohm", "5000").exit_code in (0, 10, 11)


@pytest.mark.parametrize("name", ["--guard"])
def test_a_guard_band_that_is_no_number_is_refused(capture: Path, name: str) -> None:
    assert call("review", capture, name, "nan").exit_code == 2


@pytest.mark.parametrize("code", [errno.EROFS, errno.EACCES, errno.EIO, errno.ENOSPC])
def test_a_home_that_takes_no_files_is_told_of(
    code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: Any, **__: Any) -> Any:
        raise OSError(code, "refused by the system")

    for name in ("tempfile.mkstemp", "tempfile.TemporaryFile", "os.fsync", "pathlib.Path.mkdir"):
        with monkeypatch.context() as patch:
            patch.setattr(name, refused)
            for args in (
                ("config", "set", "operator", "A"), ("profile", "new", "own", "--out", tmp_path / f"{name}.toml"),
                ("sweep", "--port", "sim://good?pace=fast", "--seconds", "2", "--job", "J", "--confirm", "plug-off"),
            ):  # fmt: skip
                call(*args)
