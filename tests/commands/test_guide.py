"""The guide from the first question to what the result asks for, on simulated sensors."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner, Result

from support.outcomes import WORN, outcome
from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.bench.board.rig import port_of
from sweeprig.bench.guide import FIRST_QUESTION, Answer, Then, command_line, items_for, said_of, then_of
from sweeprig.bench.sweep.sweep import SweepDone
from sweeprig.cli.commands.guide import _back_to_closed as back_to_closed
from sweeprig.cli.commands.guide import _check as check_step
from sweeprig.cli.commands.guide import _then as then_step
from sweeprig.cli.guided_job import Job
from sweeprig.cli.main import app
from sweeprig.errors import InputError, NoRigError, PortMissingError
from sweeprig.judge.model import Verdict
from sweeprig.judge.profile import shipped_names
from sweeprig.link.ports import list_rigs
from sweeprig.twin.rehearsal import BENCH

SIM = "sim://{}?pace=fast&vm=cpython&seed=3"


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path))


def guide(sensor: str, *answers: str) -> Result:
    text = "".join(f"{a}\n" for a in answers)
    return CliRunner().invoke(app, ["guide", "--port", SIM.format(sensor)], input=text)


def test_an_unknown_good_sensor_comes_to_a_sheet(tmp_path: Path) -> None:
    done = guide("good", "b", "shelf 3", "", "y", "y", "y", "n", "?")
    assert done.exit_code == 0, done.output
    assert "Profile: any-three-wire" in done.stderr
    assert "Both ends keep clear of ground and supply" in done.stdout
    assert "Hand it over" in done.stderr
    assert list(tmp_path.rglob("shelf-3-*.html"))
    listed, _, closing = done.stderr.partition("The same job without the guide:")[2].partition("\n\n")
    last = listed.split("\n")
    assert closing.startswith("PASS (simulated): Both ends keep clear of ground and supply")
    assert re.search(r"record \d+, sheet \S+shelf-3\S*\.html", closing)
    assert [line.split()[:2] for line in last if line] == [["sweeprig", "check"], ["sweeprig", "sweep"]]
    assert "--confirm" not in done.stderr.partition("without the guide")[2]


def test_two_signals_that_are_one_are_asked_about_again() -> None:
    wrong = ("y", "y", "y")  # two signal wires, of one sense, the second at half scale
    done = guide("good", "b", "", "", "y", "y", "y", *wrong, "y", "n", "?", "y", "y")
    assert "Profile: two-tracks-half-scale" in done.stderr
    assert "No second signal was seen" in done.stderr
    assert "FAIL" not in done.output
    assert done.stderr.partition("The same job without the guide:")[2].count("sweeprig sweep") == 2
    assert "PASS (simulated)" in done.stderr


def test_no_goes_one_back_and_feeds_nothing() -> None:
    done = guide("good", "b", "", "", "y", "y", "n", "x")
    assert done.stderr.count("1 of 2:") == 2
    assert "Only y or n counts." in done.stderr
    assert "no overload" not in done.stderr
    assert "Now move the lever" not in done.stderr


def test_a_badly_mounted_sensor_is_led_to_aim() -> None:
    done = guide("badly-mounted", "b", "", "", "y", "y", "y", "n", "y")
    assert "Profile: adjustable-potentiometer" in done.stderr
    assert "Go on with aim now?" in done.stderr


def test_pins_are_found_where_they_are_not_known() -> None:
    ohms = ("4.87k", "600", "4.3k", "4.87k", "4.1k", "800")
    done = guide("good", "b", "", "", "n", "y", *ohms, "n")
    assert "supply" in done.stdout
    assert "3. Hookup" in done.stderr, done.output
    assert "A simulated sensor has no pins to measure: answer y." in done.stderr


def test_a_track_that_was_measured_is_passed_on() -> None:
    ohms = ("4.87k", "600", "4.3k", "4.87k", "4.1k", "800")
    done = guide("good", "b", "", "", "n", "y", *ohms, "y", "y", "n", "?")
    assert done.exit_code == 0, done.output
    assert "Track 4870 ohm" in done.stdout
    commands = re.findall(r"This step without the guide: (sweeprig (?:check|sweep).*)", done.stderr)
    assert len(commands) == 2
    assert all("--track-ohm 4870" in line for line in commands)
    assert "Track resistance not given" not in done.output


@pytest.mark.parametrize("answer", ["n", "?"])
def test_what_may_be_a_hall_part_meets_no_ohmmeter(answer: str) -> None:
    done = guide("good", "b", "", "", "n", answer)
    assert done.exit_code == 11
    assert "It may be a Hall part: no ohmmeter." in done.stderr
    assert "pin 1 to pin 2" not in done.stderr
    assert "No sweep" not in done.stderr


@pytest.mark.parametrize("answer", ["?", "n", "q"])
def test_a_prompt_for_ohms_has_a_way_out(answer: str) -> None:
    done = CliRunner().invoke(app, ["pins"], input=f"4.87k\n{answer}\n")
    assert done.exit_code == 11
    assert "? = it may be a Hall part" in done.stderr
    assert "It may be a Hall part: no ohmmeter. Take the pins from the part number" in done.stderr
    assert "Ctrl-C" not in done.stderr


def test_no_question_of_the_guide_asks_for_ohms_of_a_hall_part() -> None:
    asked, todo = [], [FIRST_QUESTION]
    while todo:
        question = todo.pop()
        asked.append(question.text)
        todo += [q for q in (question.yes, question.no) if not isinstance(q, str)]
    ohms = [text for text in asked if "ohm" in text]
    assert ohms
    assert all("part number" in text for text in ohms)


def test_whole_words_answer_a_question_too() -> None:
    done = guide("good", "vehicle", "combustion", "12", "", "", "yes", "no")
    assert "Only" not in done.stderr.partition("3. Hookup")[0]
    assert "1 of" in done.stderr


def test_a_confirmation_is_asked_as_what_it_is() -> None:
    done = guide("good", "b", "", "", "y", "y", "y", "n", "?")
    assert "on the rig's powered lead. Is this so?" in done.stderr.replace("\n", " ")
    assert "not identified: sweeprig pins. Do you keep to it?" in done.stderr.replace("\n", " ")


def test_an_end_out_of_place_replaces_no_sensor() -> None:
    done = guide("badly-mounted", "b", "", "", "y", "y", "y", "n", "?")
    said = done.stderr.partition("7. What the result asks for")[2].partition("The same job")[0]
    assert "An end is outside its limits. Check stop, lever, mount and part" in said
    assert "Replace" not in said


def test_a_fault_in_the_wiring_is_tested_again() -> None:
    done = guide("open-signal", "b", "", "", "y", "y", "y", "y", "y", "y", "n")
    assert done.stderr.count("This step without the guide: sweeprig check") == 2
    assert "FAULT in the connection." in done.stdout


@pytest.mark.skipif(bool(list_rigs()), reason="a board is attached")
def test_without_a_rig_nothing_is_asked() -> None:
    done = CliRunner().invoke(app, ["guide"], input="b\n")
    assert isinstance(done.exception, NoRigError)
    assert 'sweeprig guide --port "sim://good?rehearse=yes"' in done.exception.next_step
    assert "sweeprig demo" in done.exception.next_step
    assert "on the bench" not in done.output


@pytest.mark.parametrize(
    ("port", "error"), [("sim://nosuch", InputError), ("/dev/nothing-there", PortMissingError)]
)
def test_a_wrong_port_is_told_before_the_first_question(port: str, error: type[Exception]) -> None:
    done = CliRunner().invoke(app, ["guide", "--port", port], input="b\n")
    assert isinstance(done.exception, error)
    assert "on the bench" not in done.output


def test_a_lost_rig_is_no_failed_connection_test() -> None:
    gone = PortMissingError("The port is not there.", seen="/dev/x", next_step="plug it in")
    asked: list[list[str]] = []

    def run(arguments: list[str]) -> int:
        asked.append(arguments)
        raise gone

    job, seen = Job(run, "/dev/x"), CliRunner()
    step = typer.Typer()
    step.command()(lambda: check_step(job))
    done = seen.invoke(step, [], input="n\n")
    assert done.exit_code == gone.exit_code
    assert "The rig does not answer: nothing was tested." in done.output
    assert "does not pass" not in done.output
    assert len(asked) == 1


@pytest.mark.parametrize("port", ["sim:/worn", "sim:worn", "SIM://worn"])
def test_a_simulated_address_nearly_right_is_shown(port: str) -> None:
    with pytest.raises(InputError) as caught:
        port_of(port)
    assert caught.value.next_step == "sim://worn"


def profiles(question: object) -> set[str]:
    if isinstance(question, str):
        return {question}
    return set().union(*(profiles(question.after(a)) for a in Answer))  # type: ignore[attr-defined]


def test_three_questions_come_to_every_shipped_profile() -> None:
    assert profiles(FIRST_QUESTION) == set(shipped_names())


def test_each_result_asks_for_one_thing() -> None:
    loose = Finding(Code.LOOSE_CONNECTION, Cause.CONNECTION, 0, None, "7 dropouts", "Move the plug.")
    margin = Finding(Code.MARGIN_CLOSED, Cause.MOUNTING, 0, None, "too near", "Turn it.")
    assert then_of(outcome()) is Then.HAND_OVER
    assert then_of(outcome(worn=True, findings=(WORN,))) is Then.REPLACE
    assert then_of(outcome(worn=True, findings=(WORN, loose))) is Then.WIGGLE
    assert then_of(outcome(worn=True, findings=(margin,))) is Then.AIM
    pulled = Finding(Code.CLOSED_OUT_OF_RANGE, Cause.WIRING, 0, None, "drawn to ground", "Unplug it.")
    assert then_of(outcome(worn=True, findings=(pulled,))) is Then.CHECK


def test_a_loose_contact_on_a_worn_sensor_says_both() -> None:
    loose = Finding(Code.LOOSE_CONNECTION, Cause.CONNECTION, 0, None, "7 dropouts", "Move the plug.")
    assert said_of(outcome(worn=True, findings=(loose, WORN))).endswith("worn as well: replace it.")
    assert "worn" not in said_of(outcome(worn=True, findings=(loose,)))


def test_in_a_vehicle_every_caution_has_its_own_question() -> None:
    items = items_for("vehicle", "tapped")
    assert len(items) >= 12
    assert {i.key for i in items} == {"", "laptop-battery", "usb-first"}


def test_a_command_is_shown_as_it_would_be_typed() -> None:
    line = command_line(["sweep", "--label", "shelf 3", "--confirm", "plug-off"])
    assert line == "sweeprig sweep --label 'shelf 3'"


@pytest.mark.parametrize(("port", "asked"), [("", 2), (SIM.format("good") + "&rehearse=yes", 2)])
def test_the_lever_is_back_at_closed_before_a_sweep(
    port: str, asked: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The connection test ends at open throttle: a sweep begun there calls the ends by each other's names."""
    answers = [False, True]
    monkeypatch.setattr("sweeprig.cli.guiding.yes", lambda _text: answers.pop(0))
    monkeypatch.setattr(BENCH, "place", 1.0)
    monkeypatch.setattr(BENCH, "goal", 1.0)
    back_to_closed(Job(lambda _words: 0, port))
    assert len(answers) == 2 - asked
    assert (BENCH.place, BENCH.goal) == ((0.0, 0.0) if port else (1.0, 1.0))


@pytest.mark.parametrize(
    ("port", "said"),
    [
        ("", "Move the lever back to CLOSED throttle and leave it there. Is it there?"),
        (SIM.format("good") + "&rehearse=yes", "Answer y and the rehearsal's lever goes there."),
    ],
)
def test_a_rehearsal_says_that_y_closes_its_lever(
    port: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    monkeypatch.setattr("sweeprig.cli.guiding.yes", lambda text: not asked.append(text))
    back_to_closed(Job(lambda _words: 0, port))
    assert len(asked) == 1
    assert asked[0].endswith(said)


def test_a_second_sweep_begins_with_the_lever_closed_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first one has left it open."""
    asked: list[str] = []
    monkeypatch.setattr("sweeprig.cli.guiding.yes", lambda text: not asked.append(text))
    undecided = outcome(verdict=Verdict.UNDECIDED, reason="Only 2 full strokes, 3 wanted: sweep again.")
    then_step(Job(lambda _words: 0, "/dev/x"), SweepDone(undecided, None, ()))
    assert asked[0] == "Go on with sweep now?"
    assert "back to CLOSED throttle" in asked[1]


def test_a_simulated_lever_is_closed_without_a_question(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sweeprig.cli.guiding.yes", pytest.fail)
    back_to_closed(Job(lambda _words: 0, SIM.format("good")))
