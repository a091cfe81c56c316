"""What a rehearsal says: the keys of its live views, and the address of a sensor that keys have turned."""

from __future__ import annotations

import pytest
import typer
from typer.testing import CliRunner

from sweeprig.cli import guiding
from sweeprig.cli.rehearsing import say_turned, with_keys
from sweeprig.link import foreign
from sweeprig.twin.rehearsal import BENCH

PORT = "sim://badly-mounted?rehearse=yes&turn=1.00"


@pytest.mark.parametrize("turned_deg", [7.5, -2.0])
def test_a_sensor_turned_by_keys_has_its_address(
    turned_deg: float, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(BENCH, "turned_deg", turned_deg)
    say_turned(PORT)
    said = capsys.readouterr().err
    assert f"turned by {turned_deg:+.2f} degrees" in said
    assert f"sim://badly-mounted?rehearse=yes&turn={1.0 + turned_deg:.2f}" in said


def test_a_sensor_that_no_key_turned_is_not_mentioned(capsys: pytest.CaptureFixture[str]) -> None:
    say_turned(PORT)
    assert capsys.readouterr().err == ""


def test_a_live_view_names_the_keys_of_a_rehearsal() -> None:
    assert with_keys("q or Ctrl-C ends", rehearsal=False) == "q or Ctrl-C ends"
    shown = with_keys("q or Ctrl-C ends", rehearsal=True)
    assert all(word in shown for word in ("q or Ctrl-C ends", "+ - turn", "c closes", "o opens"))
    assert len(shown) <= 58, "it fits the smallest screen"


def test_enter_alone_is_told_which_keys_count() -> None:
    step = typer.Typer()
    step.command()(lambda: print(guiding.asked("Bench or vehicle?", "bv")))
    done = CliRunner().invoke(step, [], input="\nb\n")
    assert "Only b or v counts." in done.output
    assert done.stdout.endswith("b\n")


def test_a_pulled_cable_is_told_in_plain_words() -> None:
    pulled = foreign.ours(
        OSError("device reports readiness to read but returned no data (device disconnected?)"),
        port="COM1",
        phase="use",
    )
    assert pulled is not None
    assert pulled.seen == "nothing comes through the cable any more"
    assert "kept" not in pulled.next_step, "check and watch keep nothing"
