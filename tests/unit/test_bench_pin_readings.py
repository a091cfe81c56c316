"""Readings as technicians type them, and the command around them."""

from __future__ import annotations

import json
import math

import pytest
from typer.testing import CliRunner

from sweeprig.bench.connection.pin_readings import parse_ohm, parse_reading, parse_readings
from sweeprig.cli.main import app
from sweeprig.errors import InputError

GOOD = ["1-2=4.87k", "1-3=600/4.1k", "2-3=4.3k/800"]


@pytest.mark.parametrize(
    ("typed", "ohm"),
    [
        ("850", 850.0),
        ("4.87k", 4870.0),
        ("4,87 kΩ", 4870.0),
        ("1.2M", 1.2e6),
        ("0", 0.0),
        ("470R", 470.0),
        ("OL", math.inf),
        ("open", math.inf),
        ("O.L.", math.inf),
    ],
)
def test_resistances_are_taken_as_meters_show_them(typed: str, ohm: float) -> None:
    assert parse_ohm(typed) == pytest.approx(ohm)


@pytest.mark.parametrize("typed", ["", "abc", "-5", "4k7k", "nan", "1e3"])
def test_what_is_no_resistance_is_said(typed: str) -> None:
    with pytest.raises(InputError, match="not a resistance"):
        parse_ohm(typed)


def test_pins_stand_in_any_order() -> None:
    assert parse_reading("3-1=600/4.1k") == ((1, 3), (600.0, 4100.0))


def test_one_value_stands_for_both_positions() -> None:
    assert parse_reading("1-2=4870") == ((1, 2), (4870.0, 4870.0))


@pytest.mark.parametrize("typed", ["1-1=5", "1-2", "0-2=5", "1-2=", "1-2=5/6/7"])
def test_a_reading_that_is_not_understood_is_named(typed: str) -> None:
    with pytest.raises(InputError):
        parse_reading(typed)


def test_a_pair_given_twice_is_named() -> None:
    with pytest.raises(InputError, match="twice"):
        parse_readings(["1-2=5", "2-1=6"])


def test_the_command_names_the_pins() -> None:
    done = CliRunner().invoke(app, ["pins", "--json", *GOOD])
    assert done.exit_code == 0
    track = json.loads(done.stdout)["tracks"][0]
    assert (track["ground_pin"], track["supply_pin"], track["wiper_pin"]) == (1, 2, 3)


def test_command_asks_again_then_stops() -> None:
    typed = "4870\nwhat\n900\n1000\n4870\n900\n1000\n"
    done = CliRunner().invoke(app, ["pins"], input=typed)
    assert done.exit_code == 11
    assert "This is not a resistance" in done.stderr
    assert "Do not power this part" in done.stdout


@pytest.mark.parametrize("option", ["--pins", "--count"])
def test_the_pins_of_a_plug_are_given_by_their_name_and_its_old_one(option: str) -> None:
    """`--count` is a meter's digit in `calibrate`; here it is hidden, and read as before."""
    done = CliRunner().invoke(app, ["pins", option, "4"], input="850\n" * 3)
    assert "pin 3 to pin 4" not in CliRunner().invoke(app, ["pins"], input="850\n" * 3).output
    assert "pin 1 to pin 4" in done.output


@pytest.mark.parametrize(("typed", "seen"), [("1e300", "1e300"), ("", "nothing"), ("-5", "-5")])
def test_what_is_no_resistance_is_named_with_what_is(typed: str, seen: str) -> None:
    with pytest.raises(InputError) as raised:
        parse_ohm(typed)
    assert (raised.value.seen, raised.value.limit) == (seen, "ohms in digits, 0 or more")
