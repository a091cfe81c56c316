"""The order of the safety steps of every command with a rig, and that every way out switches off."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest

from support.diary import BOOKS, SWEEP, DiaryRig, kept, moved, run
from support.faces import UNWATCHED, Quiet, watched_by
from support.scripted_rig import Outputs, Reading, client_of
from sweeprig.bench.shop.places import find_places
from sweeprig.bench.sweep.sweep import SweepOrder, take
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import HookupError, LinkError, SafetyError

POWERED = ("--confirm", "plug-off")
TAPPED = ("--hookup", "tapped", "--setting", "bench", "--confirm", "laptop-battery,usb-first")
MATCHED = ["off", "start", "dead", "feed", "power", "stop", "start", "power", "stop", "off"]
ONE_STREAM = ["off", "start", "dead", "feed", "power", "stop", "off"]
INTERLOCK = ["off", "start", "tapped", "stop"]  # the battery is looked at before anything else
LISTENED = [*INTERLOCK, "start", "tapped", "stop", "start", "tapped", "stop", "off"]
COMMANDS: dict[str, tuple[str, ...]] = {
    "sweep": SWEEP,
    "series": ("sweep", "--series", "--sheet", "none"),
    "wiggle": ("wiggle", "--seconds", "3", "--sheet", "none"),
    "watch": ("watch", "--seconds", "3"),
    "aim": ("aim", "--mount", "slotted", "--longest", "2", "--sheet", "none"),
    "check": ("check", "--move", "2"),
    "lead": ("check", "--lead", "--lead-ratio", "0.1"),
}
CHECKS = ("check", "lead")  # they look at the sensor in one stream
LEAD_OF_NUMBERS = (
    '{"made_at": 5, "passed": true, "ratio": 1, "wanted_ratio": 1,'
    ' "noise_v": 1, "n_events": 0, "shaken_s": 1}'
)
KEPT = ("sweep", "series", "wiggle")


@pytest.fixture
def rig(monkeypatch: pytest.MonkeyPatch) -> DiaryRig:
    made = DiaryRig(moved)
    kept(monkeypatch, made)
    return made


def do(name: str, wiring: tuple[str, ...], ends: Path):
    more = ("--from", str(ends)) if name == "aim" else ()
    return run(*COMMANDS[name], *more, *wiring, typed="SN-1\n")


def books_and_words(diary: list[str]) -> tuple[list[str], list[str]]:
    """Return what was read and confirmed before the first step with the rig, and the steps."""
    at = diary.index("off")
    return diary[:at], diary[at:]


def read_under_power(steps: list[str]) -> bool:
    """Whether a book was read while the sensor was fed."""
    fed = False
    for step in steps:
        fed = step == "feed" or (fed and step != "off")
        if fed and step in BOOKS:
            return True
    return False


@pytest.mark.parametrize("name", COMMANDS)
def test_powered_steps_stand_in_their_order(name: str, rig: DiaryRig, ends: Path) -> None:
    do(name, POWERED, ends)
    before, steps = books_and_words(rig.diary)
    assert [e for e in before if e != "leads"] == ["jobs", "confirm plug-off"]
    assert not read_under_power(steps)
    steps = [e for e in steps if e != "leads"]
    wanted = ONE_STREAM if name in CHECKS else MATCHED
    if name == "aim":
        again = steps.index("confirm plug-off")
        assert steps[again + 1 :] == wanted, "the sweep that confirms is made ready anew"
        steps = steps[:again]
    assert steps == wanted
    assert rig.all_off


@pytest.mark.parametrize("name", [n for n in COMMANDS if n != "lead"])
def test_tapped_steps_stand_in_their_order(name: str, rig: DiaryRig, ends: Path) -> None:
    do(name, TAPPED, ends)
    before, steps = books_and_words(rig.diary)
    assert [e for e in before if e != "leads"] == ["jobs", "confirm laptop-battery", "confirm usb-first"]
    wanted = [*INTERLOCK, "start", "tapped", "stop", "off"] if name == "check" else LISTENED
    assert steps[: len(wanted)] == wanted
    assert "feed" not in steps
    assert not any(c["on"] for c in rig.did("burden"))


@pytest.mark.parametrize("name", COMMANDS)
def test_refused_confirmation_feeds_nothing(name: str, rig: DiaryRig, ends: Path) -> None:
    result = do(name, (), ends)
    if name == "series":
        assert "Not confirmed" in result.output
    else:
        assert isinstance(result.exception, SafetyError)
    assert not {"feed", "start"} & set(rig.diary)
    assert rig.all_off


def boom() -> None:
    raise RuntimeError("boom")


def interrupt() -> None:
    signal.raise_signal(signal.SIGINT)


def pressed() -> None:
    raise KeyboardInterrupt


WAYS = {"exception": boom, "ctrl-c": interrupt, "ctrl-c anywhere": pressed}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", COMMANDS)
def test_every_way_out_of_a_running_stream_switches_off(
    name: str, way: str, rig: DiaryRig, ends: Path
) -> None:
    rig.happens, rig.when = WAYS[way], (1 if name in CHECKS else 2, 1500)
    result = do(name, POWERED, ends)
    assert rig.when == (0, 0), "it happened"
    if way == "exception":
        assert str(result.exception) == "boom"
    assert rig.diary[-2:] == ["stop", "off"] or rig.diary[-1] == "off"
    assert rig.all_off
    assert not rig.streaming or way == "exception"


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", [n for n in COMMANDS if n not in CHECKS])
def test_every_way_out_of_the_first_power_switches_off(
    name: str, way: str, rig: DiaryRig, ends: Path
) -> None:
    def when_fed(o: Outputs) -> Reading:
        if o.supply and rig.n_streams == 1 and rig.when != (0, 0):
            rig.when = (0, 0)
            WAYS[way]()
        return moved(o)

    rig._given, rig.when = when_fed, (99, 0)
    do(name, POWERED, ends)
    assert rig.when == (0, 0), "it happened"
    assert rig.n_streams == 1
    assert rig.diary[-1] == "off"
    assert rig.all_off


@pytest.mark.parametrize("name", COMMANDS)
def test_overload_at_first_power_switches_off(name: str, rig: DiaryRig, ends: Path) -> None:
    rig.fault = lambda o: o.supply
    result = do(name, POWERED, ends)
    if name == "series":
        assert "The sensor's supply is switched off" in result.output
    elif name != "check":
        assert isinstance(result.exception, HookupError)
    assert rig.all_off
    assert rig.diary[-1] == "off"


@pytest.mark.parametrize("name", COMMANDS)
def test_lost_board_ends_the_command_and_nothing_is_fed(name: str, rig: DiaryRig, ends: Path) -> None:
    rig.happens, rig.when = rig.lose, (1 if name in CHECKS else 2, 1500)
    result = do(name, POWERED, ends)
    assert rig.when == (0, 0), "it happened"
    last = max(i for i, entry in enumerate(rig.diary) if entry == "power")
    assert "feed" not in rig.diary[last:]
    if name not in KEPT:
        assert isinstance(result.exception, LinkError)


@pytest.mark.parametrize("name", COMMANDS)
def test_board_that_answers_nothing_is_told_to_let_go_of_all(name: str, rig: DiaryRig, ends: Path) -> None:
    rig.happens, rig.when = rig.fall_silent, (1 if name in CHECKS else 2, 1500)
    do(name, POWERED, ends)
    assert rig.when == (0, 0), "it happened"
    fed = max(i for i, c in enumerate(rig.commands) if c["cmd"] == "supply" and c["on"])
    after = [c for c in rig.commands[fed:] if not c.get("on") and c["cmd"] in ("supply", "burden", "bias")]
    assert {"supply", "burden", "bias"} <= {c["cmd"] for c in after}


@pytest.mark.parametrize("text", ['{"made_at": 5}', "[" * 9000, LEAD_OF_NUMBERS])
@pytest.mark.parametrize("name", ["sweep", "watch"])
def test_damaged_lead_book_stops_nothing(name: str, text: str, rig: DiaryRig, ends: Path) -> None:
    state = find_places().state
    state.mkdir(parents=True)
    (state / f"lead-{rig.hello['uid']}.json").write_text(text)
    result = do(name, POWERED, ends)
    assert result.exit_code in (0, 10, 11), result.output
    assert rig.all_off


def test_failing_countdown_switches_off(tmp_path: Path) -> None:
    rig = DiaryRig(moved)
    order = SweepOrder(SweepSetup(confirmed=("plug-off: said",)), tmp_path, tmp_path)
    with pytest.raises(RuntimeError, match="boom"):
        take(client_of(rig), order, watch=UNWATCHED, before=boom)
    assert rig.diary == ["off", "start", "dead", "feed", "power", "stop", "off"]
    assert rig.all_off


def test_ctrl_c_in_the_countdown_captures_nothing(tmp_path: Path) -> None:
    rig = DiaryRig(moved)
    order = SweepOrder(SweepSetup(confirmed=("plug-off: said",)), tmp_path, tmp_path)
    with pytest.raises(KeyboardInterrupt):
        take(client_of(rig), order, watch=watched_by(Quiet(lambda: True)))
    assert rig.n_streams == 1
    assert rig.all_off
    assert not list(tmp_path.glob("*.journal"))
