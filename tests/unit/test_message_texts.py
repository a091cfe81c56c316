"""Messages as their reader gets them: whole sentences that are true, with a next step that helps."""

from __future__ import annotations

import errno
import math
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sweeprig.analysis.wiggle import Happening, Touched
from sweeprig.bench.connection.model import reach_line
from sweeprig.bench.shop.config import COMMAND_LINE, check_value, set_value
from sweeprig.cli.main import app
from sweeprig.cli.views.wiggle import WiggleLines
from sweeprig.errors import ConfigError, InputError, ProfileError
from sweeprig.frontend import FrontEnd, front_end
from sweeprig.link.foreign import ours


@pytest.fixture
def at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path))
    return tmp_path


@pytest.mark.usefixtures("at_home")
@pytest.mark.parametrize(
    ("typed", "step"),
    [
        (("pins",), "answer the prompt, or add all readings as arguments: sweeprig pins 1-2=4.87k 1-3=600/4.1k ..."),
        (("calibrate", "--port", "sim://good"), "answer the prompt, or add --meter, for example --meter 0.05%+3"),
        (("guide", "--port", "sim://good"), "answer the prompt at a terminal"),
    ],
)  # fmt: skip
def test_the_end_of_input_at_a_prompt_names_what_helps(typed: tuple[str, ...], step: str) -> None:
    done = CliRunner().invoke(app, [*typed], input="")
    assert isinstance(done.exception, InputError), done.output
    assert done.exception.next_step == step


def test_an_unknown_setting_is_named_where_it_is() -> None:
    with pytest.raises(ConfigError, match="Unknown setting 'nosuch'") as typed:
        check_value("nosuch", "x", COMMAND_LINE)
    assert typed.value.what == "Unknown setting 'nosuch'."
    with pytest.raises(ConfigError) as in_file:
        check_value("nosuch", "x", "/home/me/config.toml")
    assert in_file.value.what == "Unknown setting 'nosuch' in /home/me/config.toml."


def test_the_reach_of_a_build_is_stated_as_what_it_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    full = front_end("full")
    shorts = "shorts to ground of 12 µs (millionths of a second) or longer"
    said = f"What this rig can detect with the powered lead: {shorts}"
    assert reach_line(full, "powered") == f"{said}, and a wiper that leaves the track for 12 µs or longer."
    monkeypatch.setattr(FrontEnd, "shortest_open_s", lambda *_: math.inf)
    assert (
        reach_line(full, "powered")
        == f"{said}; how long a wiper must leave the track to be seen is not guaranteed."
    )


def test_an_event_of_a_wiggle_test_is_described_once(capsys: pytest.CaptureFixture[str]) -> None:
    seen = Happening(1.5, 0.002, (0,), 9.0, Touched.TO_GROUND, "plug")
    WiggleLines(lambda: False, bell=False).tell([seen])
    live = capsys.readouterr().err
    assert live == "Event at 1.50 s, at plug.\n"
    assert seen.line not in live


def test_a_profile_that_there_is_none_of_is_not_made_the_default(at_home: Path) -> None:
    path = at_home / "config.toml"
    with pytest.raises(ProfileError, match="brand"):
        set_value(path, "profile", "brand")
    assert not path.exists()
    assert set_value(path, "profile", "hall").profile == "hall"


def test_a_lost_signal_is_called_lost_however_shallow() -> None:
    lost = Happening(1.5, 0.002, (0,), 9.0, Touched.TO_GROUND, "plug")
    assert "9 % of the supply voltage, down to ground, 2.00 ms: signal open or touching ground" in lost.line


def test_a_port_that_there_is_none_of_is_said_once() -> None:
    missing = FileNotFoundError(errno.ENOENT, "could not open port COM9: [Errno 2] No such file: 'COM9'")
    found = ours(missing, port="COM9", phase="open")
    assert found is not None
    assert (found.what, found.seen) == ("There is no port COM9.", "No such file or directory")


def test_a_wrong_value_of_a_setting_is_named() -> None:
    with pytest.raises(ConfigError) as typed:
        check_value("sheet", "docx", COMMAND_LINE)
    assert typed.value.what == "docx is not a value for sheet."
    assert "--sheet-file" not in str(typed.value.next_step)
    with pytest.raises(ConfigError) as file:
        check_value("sheet", "shelf3.html", COMMAND_LINE)
    assert "--sheet-file" in str(file.value.next_step)
