"""The order for a board, its card, and the board's own trigger beside the bench's."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from tests.benchmarks.keep_bench import records_bytes

from sweepboard import keep_order, wire
from sweepboard.arguments import RefusedError
from sweepboard.arm import OVER, Arm
from sweepboard.keep import blocks_for
from sweepboard.keep_light import WORDS
from sweeprig.bench.board.install import ASK_BOARD
from sweeprig.bench.field.card import MEANING, card_lines, code_text, write_card
from sweeprig.bench.field.kept import Kept, found_at
from sweeprig.bench.field.order import FieldOrder, confirmations, make_order, read_order
from sweeprig.bench.field.send import BLOCKS, Sent, longest_that_fits_s
from sweeprig.bench.hookup.cautions import cautions_for
from sweeprig.bench.hookup.way_off import off_order
from sweeprig.bench.sweep.pace import plan_sweep
from sweeprig.bench.sweep.trigger import Phase, Trigger
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.volts import to_trace
from sweeprig.capture.model import Hookup, SweepSetup
from sweeprig.errors import InputError
from sweeprig.frontend import front_end
from sweeprig.judge.profile import load_profile
from sweeprig.twin.capture import play
from sweeprig.twin.sensors import load_sensor

DOCS = Path(__file__).parents[2] / "docs" / "howto" / "vehicle.md"
SENT = datetime(2026, 3, 4, 5, 6, tzinfo=UTC)


def order_for(setup: SweepSetup, build: str = "full", **plan: Any) -> FieldOrder:
    profile, end = load_profile(setup.profile), front_end(build)
    made = plan_sweep(profile, shortest_dropout_s=end.shortest_dropout_s(str(setup.hookup)))
    rig = {
        "uid": "51", "build": build, "window": wire.WINDOW, "channels": 3, "conversion_hz": wire.CONVERSION_HZ,
        "records_per_packet": 16, "hookups": list(end.hookups), "capabilities": list(end.capabilities),
    }  # fmt: skip
    return make_order(setup, profile, replace(made, **plan), end, rig, sweeps=6, order_id="abcd", sent=SENT)


@pytest.mark.parametrize("hookup", list(Hookup))
def test_the_board_takes_what_the_host_makes(hookup: Hookup) -> None:
    order = order_for(SweepSetup(hookup=hookup, setting="vehicle", vehicle_drive="combustion"))
    opened = keep_order.opened(order.text)
    assert opened["plug_off"] == (hookup is Hookup.POWERED)
    assert {k: opened[k] for k in order.rules} == dict(order.rules)
    end = front_end("full")
    assert opened["least"] * end.lsb_v / 332 == pytest.approx(
        load_profile(order.setup.profile).series.start.value / 100 * 5.0, rel=1e-3
    )
    assert opened["battery_uv"] > 0  # the full build reads the battery


@pytest.mark.parametrize(
    "change",
    [
        {"plug_off": False},
        {"hookup": "tapped"},
        {"strokes": 0},
        {"hours": 25},
        {"uid": 7},
        {"extra": 1},
        {"low": None},
    ],
)
def test_an_order_that_contradicts_itself_is_refused(change: dict[str, Any]) -> None:
    plain = json.loads(order_for(SweepSetup()).text) | change
    with pytest.raises(RefusedError):
        keep_order.opened(json.dumps(plain))


@pytest.mark.parametrize("text", ["", "[]", "1", '"powered"', "{" * 200, '{"id":'])
def test_what_is_no_order_is_refused(text: str) -> None:
    with pytest.raises(RefusedError):
        keep_order.opened(text)


def test_an_order_too_long_for_the_board_is_named() -> None:
    setup = SweepSetup(notes="x" * 900, operator="y" * 900, part="z" * 900, serial="s" * 900)
    with pytest.raises(InputError, match="too long"):
        _ = order_for(setup).text


def test_the_setup_comes_back_with_the_order() -> None:
    setup = SweepSetup(
        hookup=Hookup.TAPPED, job="0417", sensor_label='pedal "A"', setting="vehicle", track_ohm=4700.0
    )
    back = read_order(order_for(setup).text)
    assert back.setup == setup
    assert back.sent == SENT


def test_each_hookup_confirms_its_own_and_hybrids_more() -> None:
    keys = [c.key for c in confirmations(SweepSetup(hookup=Hookup.TAPPED, vehicle_drive="hybrid"))]
    assert keys == ["cautions", "usb-first", "secured"]
    assert [c.key for c in confirmations(SweepSetup(vehicle_drive="combustion"))] == ["cautions", "plug-off"]


def sent() -> Sent:
    setup = SweepSetup(
        hookup=Hookup.TAPPED, job="0417", setting="vehicle", confirmed=("cautions: read (by A)",)
    )
    order = order_for(setup)
    profile = load_profile(setup.profile)
    plan = plan_sweep(profile, shortest_dropout_s=1e-4)
    return Sent(order, plan, profile, 176, 3)


def test_the_card_has_every_code_and_every_caution(tmp_path: Path) -> None:
    page = write_card(sent(), tmp_path / "card.html").read_text()
    assert set(MEANING) == set(WORDS) - {"off"}
    for word in MEANING:
        assert code_text(word) in page
    for text in cautions_for("vehicle", "tapped"):
        assert text.split("'")[0] in page
    lines = dict(card_lines(sent()))
    assert "cautions: read (by A)" in lines["Confirmed at sending"]
    assert len({code_text(word) for word in MEANING}) == len(MEANING)  # no two codes alike
    assert len({WORDS[word] for word in WORDS}) == len(WORDS)


@pytest.mark.parametrize("hookup", list(Hookup))
@pytest.mark.parametrize("task", ["sweep", "wiggle"])
def test_the_card_says_what_to_connect_and_when(hookup: Hookup, task: str) -> None:
    base = sent()
    setup = replace(base.order.setup, hookup=hookup)
    order = replace(base.order, setup=setup, rules={**base.order.rules, "task": task})
    steps = dict(card_lines(replace(base, order=order)))["What to do"]
    assert [s[:3] for s in steps] == [f"{n}. " for n in range(1, len(steps) + 1)]
    assert "Ignition off, wait until the controllers have shut down" in steps[0]
    bank = next(i for i, s in enumerate(steps) if "power bank" in s.lower())
    lead = next(i for i, s in enumerate(steps) if "tap lead" in s or "powered lead" in s)
    press = next(i for i, s in enumerate(steps) if "Press" in s)
    assert bank < lead < press < len(steps) - 1, steps
    tapped = hookup is Hookup.TAPPED
    assert ("Ignition on" in " ".join(steps)) is tapped
    assert (off_order("power bank") in steps[-1]) is tapped


def test_the_card_counts_presses_in_plain_words() -> None:
    steps = " ".join(dict(card_lines(sent()))["What to do"])
    assert "one press per sweep, 6 sweeps" in steps
    assert "marks the sweep just taken as not wanted" in steps


def test_the_guide_shows_the_same_codes_as_the_card() -> None:
    text = DOCS.read_text()
    for word in MEANING:
        assert f"| {code_text(word)} |" in text


@pytest.mark.parametrize(
    ("sensor", "seed"), [("good", 1), ("good", 2), ("hall", 3), ("falling", 4), ("worn", 5)]
)
def test_the_board_starts_and_ends_a_sweep_as_the_bench_does(sensor: str, seed: int) -> None:
    spec = load_sensor(sensor)
    hand = replace(spec.hand, first_rest_s=(0.7, 0.9), stroke_s=(0.7, 1.2), rest_s=(0.6, 0.8))
    spec = replace(spec, hand=hand)
    capture = play(spec, seed=seed, seconds=9.0, build="full").capture
    profile, end = load_profile(spec.profile), front_end("full")
    order = order_for(SweepSetup(profile=spec.profile))
    plan = plan_sweep(profile, shortest_dropout_s=end.shortest_dropout_s("powered"))
    trigger, arm = Trigger(profile, plan), Arm(order.rules, timed=False)
    rows, calibration, at = records_bytes(capture.records), nominal_calibration(capture.rig), 0
    while trigger.phase is not Phase.OVER and at + 20 <= len(rows):
        part = replace(capture, records=capture.records[at : at + 20])
        trigger.feed(to_trace(part, calibration=calibration, front_end=end, nominal_supply_v=5.0))
        arm.feed(b"".join(rows[at : at + 20]), 0, 20, at)
        at += 20
    assert trigger.phase is Phase.OVER
    assert arm.phase == OVER
    assert arm.ended == trigger.ended == "strokes"
    assert abs(arm.start - trigger.start_s / capture.window_s) <= 20
    assert arm.strokes == trigger.strokes.n


def test_install_looks_at_nothing_that_is_kept(capsys: pytest.CaptureFixture[str]) -> None:
    looked: list[str] = []

    class Os:
        @staticmethod
        def listdir(path: str) -> list[str]:
            looked.append(path)
            return {"/": ["main.py", "kept", "notes.txt", "sweepboard"], "/sweepboard/": []}.get(path, [])

    script = ASK_BOARD.replace("import hashlib, json, os, sys", "import hashlib, json, sys")

    def opened(path: str, mode: str = "r") -> Any:
        looked.append(path)
        raise OSError

    exec(script, {"os": Os, "open": opened, "__builtins__": {**vars(__import__("builtins")), "open": opened}})
    assert "BOARD" in capsys.readouterr().out
    assert not [path for path in looked if "kept" in path]


def test_six_sweeps_of_ten_seconds_fit_on_a_board_of_2_mb() -> None:
    assert longest_that_fits_s(BLOCKS[0], 6, 0.000996) >= 10.0
    assert longest_that_fits_s(BLOCKS[0], 1, 0.000996) >= 60.0
    for sweeps in (1, 6, 50):
        windows = int(longest_that_fits_s(BLOCKS[0], sweeps, 1.0))
        assert sweeps * blocks_for(windows) < BLOCKS[0]


def test_a_board_that_ran_on_tells_when_a_sweep_ended() -> None:
    now = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
    kept = Kept(2, {"boot": 3}, b"", {"ms": 40_000, "word": "kept"}, unwanted=False)
    when, how = found_at(kept, {"boot": 3, "ms": 100_000}, now)
    assert (now - when).total_seconds() == 60.0
    assert "timed by the board" in how
    for board in ({"boot": 4, "ms": 100_000}, {}):
        assert found_at(kept, board, now) == (now, found_at(kept, {}, now)[1])
    assert "not known" in found_at(replace(kept, end=None), {"boot": 3, "ms": 100_000}, now)[1]


@pytest.mark.parametrize(
    ("hookup", "task"), [("tapped", "sweep"), ("powered", "sweep"), ("tapped", "wiggle")]
)
def test_the_card_is_one_page_on_both_papers(tmp_path: Path, hookup: str, task: str) -> None:
    from weasyprint import CSS, HTML

    setup = SweepSetup(
        hookup=Hookup(hookup), setting="vehicle", vehicle_drive="hybrid", job="j" * 40, task=task
    )
    said = tuple(
        f"{c.key}: {c.text} (by {'n' * 30}, 2026-01-01 10:00, at sending)" for c in confirmations(setup)
    )
    one = replace(sent(), order=order_for(replace(setup, confirmed=said)))
    page = write_card(one, tmp_path / "card.html").read_text()
    for paper in ("A4", "letter"):
        drawn = HTML(string=page).render(stylesheets=[CSS(string=f"@page{{size:{paper}}}")])
        assert len(drawn.pages) == 1
