"""What the simulated rig shows and sounds during a wiggle test, and what its button does; the command as typed."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from sweeprig.bench.board.rig import opened_rig
from sweeprig.bench.wiggle.run import BUZZ_MS, EVENT_SHOWN_S
from sweeprig.cli.main import app
from sweeprig.twin.feed import Feed

SPIKE_S = 1.35  # when the simulated sensor's one dropout is: sensors/one-spike.toml
FOUND_S = (
    0.6  # it is found at the latest so long after: 0.15 s of tail, 0.2 s from search to search, the link
)
VMS = ["cpython", pytest.param("micropython", marks=pytest.mark.micropython)]


@pytest.fixture
def feeds(monkeypatch: pytest.MonkeyPatch) -> list[Feed]:
    """The simulated rigs that are switched on."""
    made: list[Feed] = []

    class Kept(Feed):
        def __init__(self, *args: Any, **more: Any) -> None:
            super().__init__(*args, **more)
            made.append(self)

    monkeypatch.setattr("sweeprig.twin.simulated.Feed", Kept)
    return made


def wiggle(sensor: str, more: str, home: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[dict[str, Any], str]:
    """Return the command's result and what it said on the way."""
    monkeypatch.setenv("SWEEPRIG_HOME", str(home))
    port = f"sim://{sensor}?pace=fast&seed=3&hand=still&{more}"
    done = CliRunner().invoke(app, ["wiggle", "--port", port, "--seconds", "4", "--json", "--sheet", "none"])
    assert done.exit_code in (10, 11), done.output
    return dict(json.loads(done.stdout)), done.stderr


@pytest.mark.parametrize("vm", VMS)
def test_light_and_buzzer_tell_of_an_event(
    vm: str, feeds: list[Feed], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    result, _ = wiggle("one-spike", f"vm={vm}", tmp_path, monkeypatch)
    assert len(result["wiggle"]["events"]) == 1
    (feed,) = feeds
    assert [(s.what, s.value) for s in feed.shown] == [
        ("light", "slow"), ("light", "fast"), ("buzzer", BUZZ_MS), ("light", "slow"), ("light", "off"),
    ]  # fmt: skip
    _, fast, tone, slow, off = feed.shown
    assert SPIKE_S < fast.seconds <= tone.seconds < SPIKE_S + FOUND_S
    assert EVENT_SHOWN_S <= slow.seconds - fast.seconds < EVENT_SHOWN_S + 0.5
    assert off.seconds >= 4.0
    assert feed.light == "off"


def test_without_an_event_the_light_only_says_that_the_test_runs(
    feeds: list[Feed], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wiggle("good", "vm=cpython&board=plain", tmp_path, monkeypatch)
    (feed,) = feeds
    assert [(s.what, s.value) for s in feed.shown] == [("light", "slow"), ("light", "off")]


@pytest.mark.parametrize("vm", VMS)
def test_the_rigs_button_marks_where_the_operator_is(
    vm: str, feeds: list[Feed], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    result, said = wiggle("one-spike", f"vm={vm}&press=0.4,2.5", tmp_path, monkeypatch)
    assert [e["place"] for e in result["wiggle"]["events"]] == ["plug"]
    assert "at plug" in said, "told while the test ran"
    assert "bulkhead" in json.dumps(result["wiggle"])
    without, said = wiggle("one-spike", f"vm={vm}", tmp_path, monkeypatch)
    assert [e["place"] for e in without["wiggle"]["events"]] != ["plug"]
    assert "at plug" not in said


def test_a_host_that_is_gone_leaves_no_light_on(feeds: list[Feed]) -> None:
    """The board's own time decides, which at fast pace runs ahead of the host's."""
    with opened_rig("sim://good?pace=fast&vm=cpython") as client:
        client.command("light", mode="fast")
        client.start("powered")
        (feed,) = feeds
        assert feed.light == "fast"
        port = client._transport._port  # type: ignore[attr-defined]  # read past the client, which would speak up
        end = time.monotonic() + 60
        while feed.light != "off" and feed.seconds < 10 and time.monotonic() < end:
            port.read(4096)
        assert feed.light == "off"
        assert 2.9 < feed.shown[-1].seconds < 3.3
