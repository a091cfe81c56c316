"""`--help`: options in groups, two examples that parse, nothing left out."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from sweeprig.cli.help_texts import EXAMPLES, GROUPS, group_of
from sweeprig.cli.main import app
from sweeprig.errors import InputError, SweeprigError

ROOT: Any = typer.main.get_command(app)


def _walk(command: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    yield path, command
    if hasattr(command, "list_commands"):
        ctx = ROOT.context_class(command)
        for name in command.list_commands(ctx):
            yield from _walk(command.get_command(ctx, name), f"{path} {name}".strip())


COMMANDS = dict(_walk(ROOT))


def test_each_command_has_its_examples_and_no_other() -> None:
    assert sorted(EXAMPLES) == sorted(COMMANDS)


@pytest.mark.parametrize("path", sorted(EXAMPLES))
def test_examples_are_typed_as_the_command_takes_them(path: str) -> None:
    for example in EXAMPLES[path]:
        program, *args = shlex.split(example)
        assert program == "sweeprig"
        assert args[: len(path.split())] == path.split()
        command, parent = ROOT, None
        while hasattr(command, "list_commands") and args and args[0] in command.list_commands(parent):
            parent = ROOT.context_class(command, parent=parent, info_name=command.name)
            command = command.get_command(parent, args.pop(0))
        command.make_context(command.name, args, parent=parent)


def test_groups_name_options_that_exist() -> None:
    options = {
        max(p.opts, key=len).lstrip("-")
        for c in COMMANDS.values()
        for p in c.get_params(ROOT.context_class(c))
        if p.param_type_name == "option"
    }
    named = [name for names in GROUPS.values() for name in names]
    assert sorted(set(named) - options) == []
    assert len(named) == len(set(named))
    assert group_of("seconds") == "How"


def test_help_of_a_sweep_shows_groups_in_order_then_examples() -> None:
    text = CliRunner().invoke(app, ["sweep", "--help"]).output
    heads = ["What is tested:", "How:", "Output:", "Other:", "Examples:"]
    assert [line for line in text.splitlines() if line in heads] == heads
    assert "  sweeprig sweep --label 'shelf 3' --job 1042" in text


def test_help_names_kinds_and_ranges_in_plain_words() -> None:
    text = CliRunner().invoke(app, ["sweep", "--help"]).output
    assert "--seconds <number>" in text
    assert "[2 to 3600]" in text
    assert not [word for word in ("<str>", "<float", "<int", "<list", "<=x", "x>=") if word in text]


def test_what_tests_no_sensor_has_no_such_heading() -> None:
    text = CliRunner().invoke(app, ["install", "--help"]).output
    assert "What it works on:" in text
    assert "What is tested:" not in text


def test_a_file_for_the_sheet_is_not_its_kind() -> None:
    text = CliRunner().invoke(app, ["review", "--help"]).output
    assert "--sheet-file <path>" in text
    assert "--sheet <" not in text


def test_a_wrong_value_is_refused_in_plain_words() -> None:
    low = CliRunner().invoke(app, ["sweep", "--seconds", "1"]).output
    assert "it must be at least 2" in " ".join(low.split())
    high = CliRunner().invoke(app, ["motor", "--step", "21"]).output
    assert "it must be at most 20" in " ".join(high.split())
    least = CliRunner().invoke(app, ["records", "list", "--limit", "-1"]).output
    assert "it must be at least" in " ".join(least.split())
    text = CliRunner().invoke(app, ["sweep", "--seconds", "ten"]).output
    assert "it must be a number" in " ".join(text.split())
    whole = CliRunner().invoke(app, ["sweep", "--strokes", "3.5"]).output
    assert "it must be a whole number" in " ".join(whole.split())
    word = CliRunner().invoke(app, ["sweep", "--hookup", "tappd"]).output
    assert "'tappd' is not one of 'powered', 'tapped'" in " ".join(word.split())
    assert "Value error" not in word


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("sweep", "--batch", "x"), "--batch goes with --series only"),
        (("sweep", "--countdown", "9"), "--countdown goes with --seconds only"),
        (("sweep", "--page-port", "8000"), "--page-port goes with --page or --lan only"),
        (("sweep", "--travel", "60"), "--travel goes with --driven only"),
        (("check", "--lead-ratio", "0.3"), "--lead-ratio goes with --lead only"),
    ],
)
def test_an_option_that_would_do_nothing_is_refused(words: tuple[str, ...], said: str) -> None:
    with pytest.raises(InputError, match=said):
        CliRunner().invoke(app, [*words, "--port", "sim://good?pace=fast"], catch_exceptions=False)


def test_a_drive_that_there_is_none_of_is_refused_on_the_bench_too() -> None:
    words = ["sweep", "--drive", "steam", "--port", "sim://good?pace=fast"]
    with pytest.raises(SweeprigError, match="drive"):
        CliRunner().invoke(app, words, catch_exceptions=False)


@pytest.mark.parametrize("value", ["1e300", "inf", "1e+300"])
def test_a_number_beyond_a_range_is_refused_in_plain_words(value: str) -> None:
    text = CliRunner().invoke(app, ["sweep", "--track-ohm", value]).output
    assert "Invalid value for '--track-ohm': it must be at most 1000000." in " ".join(text.split())


@pytest.mark.parametrize(
    "words", [("watch", "--seconds"), ("aim", "--longest"), ("calibrate", "verify")], ids=" ".join
)
@pytest.mark.parametrize("value", ["nan", "inf", "1e300"])
def test_nonsense_numbers_do_nothing(words: tuple[str, ...], value: str) -> None:
    done = CliRunner().invoke(app, [*words, value])
    assert done.exit_code == 2
    assert "it must be" in done.output


def test_an_error_proposes_no_option_that_the_help_leaves_out() -> None:
    said = CliRunner().invoke(app, ["pins", "--coun", "4"])
    assert "No such option: --coun" in said.output + said.stderr
    assert "--count" not in (said.output + said.stderr).replace("--coun\n", "")
