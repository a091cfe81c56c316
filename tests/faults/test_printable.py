"""Text of others on the terminal: no escape, no line of its own, from whatever field and through whatever command."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from support import outcomes
from sweeprig.capture.file import write_capture
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.cli import console as module
from sweeprig.cli.console import Console, Shown, error_text, shown, strong, styled
from sweeprig.cli.main import app
from sweeprig.errors import SweeprigError
from sweeprig.link.clean import printable
from sweeprig.twin.capture import capture_of

FAKE = "PASS: faked by a label"
EVIL = f"x\x1b[2J\x1b]0;t\x07\r\n{FAKE}\u2028{FAKE}\u202e\x9b31m\x00\x7f"
KEPT = (
    "hookup",
    "starts",
    "sense",
    "seconds",
    "track_ohm",
    "profile",
    "vehicle_drive",
    "profile_text",
    "profile_sha256",
    "task",
)


def harmless(text: str) -> None:
    """What a terminal shows as lines of ours."""
    bad = sorted({hex(ord(c)) for c in text if not (c.isprintable() or c == "\n")})
    assert bad == []
    assert [line for line in text.splitlines() if line.startswith(FAKE)] == []


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("plain ± 0.5 µs → Ω", "plain ± 0.5 µs → Ω"),
        ("a\nb\tc\r\nd\u2028e\x85f\xa0g", "a b c d e f g"),
        ("\x1b[2J", "\ufffd[2J"),
        ("\x9b2J\x07\x00\x7f", "\ufffd2J\ufffd\ufffd\ufffd"),
        ("\u202eabc\u200d\ud800", "\ufffdabc\ufffd\ufffd"),
        ("日本 Ünïcode é", "日本 Ünïcode é"),
    ],
)
def test_what_becomes_of_text(text: str, seen: str) -> None:
    assert printable(text) == seen


def test_every_print_of_the_console_shows_printable_text(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    console = Console()
    console.say(EVIL)
    console.warn(EVIL)
    console.show(EVIL)
    console.show_json({EVIL: [EVIL]})
    console.show_data(EVIL)
    out = capsys.readouterr()
    harmless(out.err)
    harmless(out.out.replace(EVIL, ""))
    console.progress(EVIL)
    harmless(capsys.readouterr().err.removeprefix("\r\x1b[2K"))
    harmless(error_text(SweeprigError(EVIL, seen=EVIL, limit=EVIL, next_step=EVIL)))


def test_json_says_the_same_with_its_controls_escaped(capsys: pytest.CaptureFixture[str]) -> None:
    text = EVIL.replace("\x00", "") + "\U000e0041"
    Console().show_json({"label": text})
    assert json.loads(capsys.readouterr().out) == {"label": text}


def test_style_of_ours_stays_and_that_of_others_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "colour_wanted", lambda: True)
    assert strong("a\x1b[8mb") == "\x1b[1ma\ufffd[8mb\x1b[0m"
    assert shown(strong("a")) == "\x1b[1ma\x1b[0m"
    assert shown("\x1b[1ma") == "\ufffd[1ma"
    assert styled("a", "") == "a"
    assert isinstance(strong(Shown("two\nlines")), Shown)
    assert strong(Shown("two\nlines")) == "\x1b[1mtwo\nlines\x1b[0m"


def test_a_screen_shows_printable_lines(capsys: pytest.CaptureFixture[str]) -> None:
    from sweeprig.cli.views.screen import Screen

    Screen().draw([EVIL, styled("bold", "1")])
    drawn = capsys.readouterr().out
    harmless(re.sub(r"\x1b\[(H|K|J|1m|0m)|\r", "", drawn))
    assert "\x1b[1mbold\x1b[0m" in drawn


def evil_setup(setup: SweepSetup) -> SweepSetup:
    changes: dict[str, Any] = {
        f.name: (EVIL,) if isinstance(getattr(setup, f.name), tuple) else EVIL
        for f in fields(setup)
        if f.name not in KEPT
    }
    return replace(setup, **changes)


def evil_capture() -> Capture:
    taken = capture_of("good", seconds=5.0)
    rig = {k: EVIL if isinstance(v, str) and k != "build" else v for k, v in taken.rig.items()}
    return replace(
        taken,
        setup=replace(evil_setup(taken.setup), setting="bench", sensor_kind=""),
        rig={**rig, "chip": "rp2040", "problems": [EVIL]},
        board_text=(EVIL,),
        coaching=(EVIL,),
        versions={EVIL: EVIL},
    )


@pytest.fixture(scope="module")
def evil_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("evil") / f"a\x1b[2J\n{FAKE}\x9b.sweep"
    write_capture(file, evil_capture())
    return file


def call(*args: str | Path) -> Result:
    result = CliRunner().invoke(app, [str(a) for a in args])
    if isinstance(result.exception, SweeprigError):
        harmless(error_text(result.exception))
    elif result.exception is not None:
        assert isinstance(result.exception, SystemExit), result.exception
    harmless(result.stdout)
    harmless(result.stderr)
    return result


def test_a_review_and_a_sheet_of_a_capture_full_of_escapes(evil_file: Path, tmp_path: Path) -> None:
    for args in ((), ("--json",), ("--budget",), ("--sheet", tmp_path / f"s\x1b{FAKE}.html")):
        assert call("review", evil_file, *args).exit_code in (0, 10, 11)
    assert call("sheet", evil_file, "--text").exit_code == 0
    assert (
        call("sheet", evil_file, "--html", "--csv", "--json", "--out", tmp_path / f"o\n{FAKE}").exit_code == 0
    )
    call("compare", evil_file, evil_file)
    call("compare", evil_file, evil_file, "--json")


def test_records_of_sensors_with_escapes_in_their_labels(evil_file: Path, tmp_path: Path) -> None:
    place = tmp_path / "r.sqlite"
    assert call("records", "add", evil_file, evil_file, "--records", place).exit_code == 0
    for args in (
        ("list",), ("list", "--json"), ("show", "1"), ("show", "1", "--json"), ("history", EVIL),
        ("export", "--as", "json"), ("batch", EVIL), ("list", "--batch", EVIL), ("show", EVIL),
    ):  # fmt: skip
        call("records", *args, "--records", place)
    assert "PASS: faked" in call("records", "list", "--records", place).stdout


def test_settings_profiles_calibrations_and_ports_with_escapes(tmp_path: Path) -> None:
    assert call("config", "set", "operator", EVIL).exit_code == 0
    for args in (("show",), ("show", "--json"), ("set", EVIL, "x"), ("set", "sheet", EVIL)):
        call("config", *args)
    call("profile", "new", EVIL)
    for word in ("check", "show"):
        call("profile", word, EVIL)
    profile = tmp_path / f"p\x1b\n{FAKE}.toml"
    profile.write_text(f'name = "x"\n"{FAKE}\\u001b\\n{FAKE}" = 1\n')
    call("profile", "check", profile)
    calibrations = tmp_path / "home" / "calibrations"
    calibrations.mkdir(parents=True)
    (calibrations / f"x\x1b\n{FAKE}.json").write_text("{}")
    for args in (("list",), ("show",), ("show", "--rig", EVIL)):
        call("calibrate", *args)
    call("rigs", "--json")
    call("watch", "--port", EVIL)
    call("watch", "--port", f"sim://{EVIL}")


def test_a_usage_error_of_the_parser_shows_printable_text(tmp_path: Path) -> None:
    evil = tmp_path / f"a\x1b[2J\n{FAKE}"
    evil.write_text("")
    for args in (
        ["review", str(evil), str(evil)],
        ["--bogus\x1b[2J"],
        ["sweep", "--hookup", "\x1b[2J\n" + FAKE],
    ):
        done = subprocess.run(
            [sys.executable, "-m", "sweeprig", *args],
            capture_output=True,
            env={"PYTHONPATH": ":".join(p for p in sys.path if p), "SWEEPRIG_HOME": str(tmp_path)},
            check=False,
        )
        assert done.returncode == 2
        harmless(done.stderr.decode())


def test_nothing_else_prints() -> None:
    """print, write and echo stand in console.py and screen.py only; no other module knows how to reach a terminal."""
    root = Path(module.__file__).parents[1]
    found = []
    for file in root.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            name = ast.unparse(node.func) if isinstance(node, ast.Call) else ""
            if name in ("print", "typer.echo", "click.echo", "sys.stdout.write", "sys.stderr.write"):
                found.append(f"{file.relative_to(root).as_posix()}: {name}")
    assert {line.partition(":")[0] for line in found} <= {"cli/console.py", "cli/views/screen.py"}, found


def test_the_outcome_of_a_hostile_label_keeps_one_verdict_row(capsys: pytest.CaptureFixture[str]) -> None:
    from sweeprig.cli.views.outcome import outcome_lines

    base = outcomes.outcome(worn=True)
    judged = replace(base.judgement, reason=EVIL, not_shown=(EVIL,), reservation=EVIL)
    for line in outcome_lines(replace(base, judgement=judged, remarks=(EVIL,))):
        Console().show(line)
    harmless(capsys.readouterr().out)
