"""What stands on the sheet, and that nothing typed can become markup."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from support import outcomes as oc
from support.report_cases import (
    HOSTILE,
    LONG_NAMES,
    cases,
    fixed_mount,
    hostile,
    long_named,
    loose,
    owned,
    remarked,
    track_b_worn,
    vehicle,
    wiggle,
)
from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.report.evidence import finding_rows
from sweeprig.report.first_page import NOT_COMPARED
from sweeprig.report.limits import margin_row
from sweeprig.report.room import room_for
from sweeprig.report.sheet import MOST_TEXT, sheet_html
from sweeprig.report.text_sheet import text_sheet
from sweeprig.report.view import readings
from sweeprig.twin.capture import capture_of
from sweeprig.words import SIMULATED, Sense

NAMES = (
    "good",
    "worn",
    "unknown",
    "falling",
    "no-supply",
    "two-tracks",
    "vehicle",
    "wiggle",
    "angle",
    "csv",
    "judged",
    "huge",
    "hostile",
)
VOID = {"meta", "link", "br", "input"}


class Page(HTMLParser):
    """The page's elements, attributes and text; notes what is not closed in order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.wrong: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def page_of(outcome: Outcome) -> Page:
    return Page(sheet_html(outcome))


@pytest.fixture(scope="module")
def pages() -> dict[str, Page]:
    return {name: page_of(outcome) for name, outcome in cases().items()}


@pytest.mark.parametrize("name", NAMES)
def test_every_page_is_whole_and_needs_nothing_from_elsewhere(pages: dict[str, Page], name: str) -> None:
    page = pages[name]
    assert page.wrong == []
    assert page.open == []
    assert not {"script", "img", "iframe", "object", "embed", "form", "a"} & set(page.tags)
    for tag, key, value in page.attributes:
        assert not key.startswith("on"), (tag, key)
        if key in ("href", "src", "action", "xlink:href"):
            assert (tag, value) == ("link", "data:,")
    assert page.tags.count("style") == 1


@pytest.mark.parametrize("name", NAMES)
def test_ids_are_used_once(pages: dict[str, Page], name: str) -> None:
    ids = [value for _, key, value in pages[name].attributes if key == "id"]
    assert len(ids) == len(set(ids))


def test_hostile_text_is_shown_as_typed() -> None:
    html = sheet_html(hostile())
    assert "<script" not in html
    assert "onerror=alert" in html  # as text
    assert "{{ 7 * 7 }}" in html
    assert " 49 " not in Page(html).text
    assert not re.search(
        "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe]", html
    )
    assert HOSTILE[0] in Page(html).text


def test_an_argument_that_is_not_utf8_does_no_harm() -> None:
    html = sheet_html(oc.outcome(job="caf\udce9"))
    assert "caf\ufffd" in html
    html.encode("utf-8")


def test_verdict_and_reason_come_first(pages: dict[str, Page]) -> None:
    text = pages["worn"].text
    places = [
        text.index(w)
        for w in (
            "Fail",
            "it should be replaced",
            "Worn spot on track A",
            "Closed throttle",
            "Findings",
            "SHA-256",
        )
    ]
    assert places == sorted(places)


def test_a_pass_says_what_it_does_not_exclude(pages: dict[str, Page]) -> None:
    said = (
        "Tested in 4 strokes, under the conditions of this test. Heat or vibration faults are not excluded."
    )
    assert said in pages["good"].text
    assert said not in pages["worn"].text


def test_plain_case_prints_alone_others_with_evidence() -> None:
    def checked(outcome: Outcome) -> bool:
        return any(key == "checked" for _, key, _ in page_of(outcome).attributes)

    assert not checked(oc.outcome())
    assert checked(oc.outcome(worn=True))
    assert checked(oc.outcome(sense=Sense.UNKNOWN))


def test_numbers_and_hand_over_table(pages: dict[str, Page]) -> None:
    text = pages["good"].text
    for shown in (
        "0.452 V",
        "±0.002 V",
        "±1.8 mV",
        "4.482 V",
        "5.012 V",
        "25 % calculated",
        "counts = round(ratio × (2ⁿ − 1))",
    ):
        assert shown in text
    assert "0.446 V and 4.487 V, single readings" in text


def test_what_is_not_known_is_said(pages: dict[str, Page]) -> None:
    assert "No ratio and no counts: the supply is not observed." in pages["no-supply"].text
    assert "which end is closed is not known" in pages["unknown"].text
    assert "Closed throttle" not in pages["unknown"].text
    assert "None: an end of the travel was not measured." in pages["wiggle"].text
    assert "no capture file" in pages["csv"].text
    assert "Calibrated never calibrated" in pages["angle"].text
    assert "never calibrated: the ± comes from the tolerance of the parts" in pages["angle"].text
    assert "none: the rig is not calibrated" in pages["angle"].text
    assert not any("not verified since the calibration" in pages[name].text for name in ("angle", "csv"))


def test_rig_calibration_losses_hash_and_versions(pages: dict[str, Page]) -> None:
    text = pages["good"].text
    for shown in ("full build, rp2040", "line+linearity, 12 days old", "none of 5000 data blocks", oc.SHA,
                  "sweeprig 0.1.0",
                  "12 µs, if it is 27 mV deep or more at the sensor",
                  "serial M-11, certificate C-2030-88"):  # fmt: skip
        assert shown in text


def test_vehicle_adds_cautions_override_is_seen_first() -> None:
    text = page_of(vehicle()).text
    assert "An unexpected throttle signal can move a vehicle" in text
    assert "An unexpected throttle signal" not in page_of(oc.outcome()).text
    assert text.index("Interlock overridden for this sweep") < text.index("Closed throttle 0.452 V")
    assert "The capture ended early (unplugged)" in text
    assert "131 of 5131 data blocks (2.6 %), not judged" in text
    assert "lost" in text
    assert "Verdict fail: do not set a controller from these." in text
    assert "Engine state NOT measured" in text


def test_snapshots_are_drawn_with_every_conversion() -> None:
    shown = page_of(oc.outcome(worn=True))
    assert "Close-ups of single dropouts" in shown.text
    dots = [v for tag, key, v in shown.attributes if (tag, key) == ("path", "d") and "h.01" in v]
    assert len(dots) == 2  # on the main page and behind it
    assert {d.count("h.01") for d in dots} == {60}  # 180 conversions of three channels
    assert "Close-ups" not in page_of(oc.outcome()).text


def test_the_deepest_dropout_reaches_the_drawing() -> None:
    html = sheet_html(oc.outcome(worn=True))
    wide = html[html.index('class="wide"') : html.index('class="narrow"')]
    tall = [float(a) - float(b) for a, b in re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", wide)]
    clean = sheet_html(oc.outcome())
    clean = clean[clean.index('class="wide"') : clean.index('class="narrow"')]
    flat = [float(a) - float(b) for a, b in re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", clean)]
    assert max(tall) > 40  # 1.5 V of 5 V on a drawing of 196 units
    assert max(flat, default=0.0) < 5


def test_signals_are_told_apart_without_colour(pages: dict[str, Page]) -> None:
    dashes = {v for tag, key, v in pages["two-tracks"].attributes if key == "stroke-dasharray"}
    assert "5 3" in dashes
    assert "signal B, dashed" in pages["two-tracks"].text
    assert "Track B" in pages["two-tracks"].text


def test_marks_of_the_button_are_counted() -> None:
    text = page_of(wiggle()).text
    assert "mark 1 at 0.70 s: 3 events until the next" in text
    assert "mark 2 at 2.39 s: 4 events until the next" in text


def test_budget_lines_stand_with_their_share(pages: dict[str, Page]) -> None:
    text = pages["good"].text
    assert "converter steps left after correction B normal 0.5 LSB 0.671 mV 64 %" in text.replace("  ", " ")


def test_text_beyond_reason_is_cut(pages: dict[str, Page]) -> None:
    assert "W" * (MOST_TEXT - 1) in pages["huge"].text
    assert "W" * (MOST_TEXT + 1) not in pages["huge"].text


@pytest.mark.parametrize("name", NAMES)
def test_the_text_sheet_has_ten_plain_lines_at_most(name: str) -> None:
    text = text_sheet(cases()[name])
    lines = text.removesuffix("\n").split("\n")
    assert len(lines) <= 10
    assert all(line.isprintable() and 0 < len(line) <= 300 for line in lines)


def test_the_text_sheet_holds_what_has_to_be_read_aloud() -> None:
    text = text_sheet(vehicle())
    for start in (
        "FAIL: J-1042",
        "Note: Interlock overridden",
        "Reason: Closed throttle",
        "Closed 0.452 V",
        "Supply: 5.012 V",
        "Sense: rising",
        "Worst event: none",
        "Next: loosen",
        "Caution: Local regulations",
        "Capture: 3F2A-91BC",
    ):
        assert f"\n{start}" in f"\n{text}"
    assert "Low 0.452 V" in text_sheet(oc.outcome(sense=Sense.UNKNOWN))
    assert "Worst event of 6: signal A partial, 31 % of supply deep" in text_sheet(oc.outcome(worn=True))
    passed = text_sheet(oc.outcome())
    assert "Heat or vibration faults are not excluded" in passed


def test_an_old_calibration_is_marked() -> None:
    base = oc.outcome()
    old = replace(base, calibration=oc.make_calibration(made_at="2030-01-01T00:00:00+00:00"))
    assert "427 days old (too old)" in page_of(old).text
    unknown = replace(base, calibration=oc.make_calibration(made_at="2031-02-20"))
    assert "age not known" in page_of(unknown).text


def test_the_last_check_standard_is_shown() -> None:
    base = oc.outcome()
    checks = ({"made_at": "2031-03-01", "verdict": "pass"}, {"made_at": "2031-03-04", "verdict": "fail"})
    text = page_of(replace(base, calibration=oc.make_calibration(verified=checks))).text
    assert "made at 2031-03-04, verdict fail" in text


def test_a_simulated_sensor_is_called_so_across_the_sheet() -> None:

    made = oc.outcome()
    assert made.capture is not None
    simulated = replace(made, capture=replace(made.capture, rig={**made.capture.rig, "simulated": True}))
    for out in (sheet_html(simulated), text_sheet(simulated)):
        assert SIMULATED in out
    for out in (sheet_html(made), text_sheet(made)):
        assert SIMULATED not in out


def test_workshop_customer_and_vehicle_stand_at_the_head() -> None:
    setup = {"workshop": "Invented Works, Bay 2", "customer": "C. Invented", "vehicle": "loader 7 <x>"}
    html = sheet_html(oc.outcome(**setup))
    head = html.partition("<header")[2].partition("</header>")[0]
    for text in ("Invented Works, Bay 2", "C. Invented", "loader 7 &lt;x&gt;"):
        assert text in head
    assert "workshop" not in sheet_html(oc.outcome()).partition("<header")[2].partition("</header>")[0]


def test_the_workshop_of_the_settings_goes_into_every_capture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sweeprig.bench.shop.config import set_value
    from sweeprig.bench.shop.places import find_places
    from sweeprig.cli.session import make_setup

    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path))
    set_value(find_places().config_file, "workshop", "Invented Works")
    setup = make_setup({"customer": "C. Invented"})
    assert (setup.workshop, setup.customer) == ("Invented Works", "C. Invented")


def test_what_is_cut_on_the_first_page_ends_with_a_clause() -> None:
    from sweeprig.report.figures import at_clause

    said = "signal A: 5 dropouts in 4 of 5 strokes (deepest 22 %, longest 1.1 ms). Too close together for chance (p)"
    assert at_clause(said, 95) == "signal A: 5 dropouts in 4 of 5 strokes (deepest 22 %, longest 1.1 ms)."
    assert at_clause("firmware 0.1.0, sweeprig 0.1.0, numpy 2.3.4", 40) == "firmware 0.1.0, sweeprig 0.1.0"
    assert at_clause(said, 200) == said
    assert at_clause("W" * 50, 20) == "W" * 19 + "…"
    named = "at least 0.250 V needed (common practice, no source. Own) and then some, with more behind it"
    assert at_clause(named, 56) == "at least 0.250 V needed."


def test_an_instruction_that_is_cut_keeps_its_second_half() -> None:
    step = "Sweep slowly across it again; if the level stays while the lever moves, replace the sensor."
    made = remarked()
    found = replace(made.judgement.findings[0], next_step=step)
    html = sheet_html(replace(made, judgement=replace(made.judgement, findings=(found,))))
    assert step in html.partition('id="main"')[2].partition('class="page details')[0]


def test_an_owned_simulated_sheet_leaves_its_trace_a_height() -> None:
    made = loose()
    owned_too = replace(made, setup=replace(made.setup, customer="C. Invented", vehicle="loader 7"))
    room = room_for(owned_too, n_alerts=1, n_tracks=1)
    assert room.trace_height >= 160.0  # the frame of the signal is 86 less


@pytest.mark.parametrize("sensor", ["interference", "loose-connector", "worn"])
def test_the_first_page_counts_dropouts_as_its_findings_do(sensor: str) -> None:
    made = review_capture(capture_of(sensor, seed=3, seconds=8.0))
    tile = next(r for r in readings(made) if r["name"] == "Dropouts and jumps")
    evidence = made.judgement.findings[0].evidence
    assert f"{tile['value']} dropouts" in evidence or f"{tile['value']} disturbances" in evidence


def test_a_finding_has_one_name_on_the_whole_sheet() -> None:
    base = oc.outcome()
    near = Finding(Code.MARGIN_CLOSED, Cause.MOUNTING, 0, (0.0, 1.0), "seen", "turn it")
    rows = finding_rows(replace(base, judgement=replace(base.judgement, findings=(near,))))
    assert [r["title"] for r in rows] == ["Closed throttle too near ground or supply"]


def test_the_margin_of_track_b_is_named_as_its_end() -> None:
    base = oc.outcome()
    assert base.judgement.margins
    at_b = replace(base.judgement.margins[0], end="closed B")
    assert margin_row(at_b, base.profile).name == "Closed end of track B, ground side"


def test_no_backtick_of_a_command_reaches_the_page() -> None:
    base = oc.outcome(worn=True)
    told = "Measure the track and give it (`--track-ohm`) <b>."
    html = sheet_html(replace(base, judgement=replace(base.judgement, not_shown=(told,), reason=told)))
    assert "`" not in html
    assert html.count("give it &lt;b&gt;.") == 4


def test_the_head_says_what_is_job_and_what_is_label() -> None:
    base = oc.outcome()
    made = replace(base, setup=replace(base.setup, job="3", sensor_label="shelf 3", part="", serial=""))
    assert "Job 3 label shelf 3" in page_of(made).text


def first_page(outcome: Outcome) -> str:
    return Page(sheet_html(outcome).partition('<section class="page details">')[0]).text


def test_tile_and_finding_count_the_same_dropouts() -> None:
    made = loose()
    (counted,) = re.findall(
        r"signal A: (\d+) dropouts, (\d+) of them while the lever was still",
        made.judgement.findings[0].evidence,
    )
    tile = re.search(r"Dropouts and jumps (\d+) .*?(\d+) while held still", first_page(made))
    assert tile is not None
    assert tile.groups() == counted


def test_a_wiggle_test_counts_every_dropout_as_its_finding_does() -> None:
    text = first_page(wiggle())
    assert "Dropouts and jumps 11 " in text
    assert "11 dropouts at rest" in text


def test_a_finding_of_track_b_is_marked_on_its_own_map_only() -> None:
    made = track_b_worn()
    html = sheet_html(made)
    assert html.count(">finding 1<") == 1
    assert html.index(">finding 1<") > html.index("Track B</p>")
    text = first_page(made)
    for said in ("The sensor's track B has a worn spot", "Worn spot, track B", "Track A: closed throttle"):
        assert said in text


def test_customer_and_vehicle_have_lines_of_their_own() -> None:
    html, setup = sheet_html(owned()), owned().setup
    assert f'<p class="whose">Customer: {setup.customer}</p>' in html
    assert f'<p class="whose">Vehicle: {setup.vehicle}</p>' in html


def test_the_first_page_names_no_profile_to_choose_and_no_chance() -> None:
    made = review_capture(capture_of("badly-mounted", seed=3, seconds=8.0), Choices(profile="any-three-wire"))
    text = first_page(made)
    assert "The sensor's signal at closed throttle is too near ground" in text
    assert NOT_COMPARED in text
    assert "adjustable-potentiometer" not in text
    assert "no source" not in text
    assert "p-value" not in first_page(loose())


def test_too_few_dropouts_leave_the_cause_open() -> None:
    base = oc.outcome(
        verdict=Verdict.UNDECIDED, reason="Stray dropout: one. Within limits: margin of the open end."
    )
    stray = Finding(Code.STRAY_DROPOUT, Cause.CONNECTION, 0, None, "one", "again", "doubt")
    within = " Within limits: margin of the open end."
    text = first_page(replace(base, judgement=replace(base.judgement, findings=(stray,), within=within)))
    assert "cause: not yet known (connection or track)" in text
    assert "Within limits" not in text


def test_a_signal_that_never_moved_has_no_beginning() -> None:
    made = review_capture(capture_of("open-signal", seed=3, seconds=5.0))
    assert "Sense not known: no stroke seen" in first_page(made)
    assert "the sweep began" not in first_page(made)


def test_the_reason_read_aloud_ends_with_a_clause() -> None:
    reason = "Only 1 full stroke was seen: " + "sweep again, " * 30 + "and so on"
    text = text_sheet(oc.outcome(verdict=Verdict.UNDECIDED, reason=reason))
    assert "…" not in text


def test_no_page_says_that_a_limit_has_no_source() -> None:
    base = oc.outcome()
    checks = tuple(replace(c, source="own choice, no source") for c in base.judgement.checks)
    text = page_of(replace(base, judgement=replace(base.judgement, checks=checks))).text
    assert "no source" not in text
    assert "chosen for this profile" in text


def test_no_name_is_cut_in_head_title_or_signature() -> None:
    text = sheet_html(long_named(cases()["remarked"]))
    title = text.partition("<title>")[2].partition("</title>")[0]
    head = text.partition("<header")[2].partition("</header>")[0]
    for name, typed in LONG_NAMES.items():
        assert typed in head, name
    assert LONG_NAMES["part"] in title
    assert f"Signature: {LONG_NAMES['operator']}" in text


def test_a_text_that_is_no_name_says_where_the_whole_of_it_stands() -> None:
    text = sheet_html(fixed_mount(sensor_label="a shelf of many words " * 20))
    assert "words (in full on the next page)" in text.partition("</header>")[0]
    assert 'id="all" checked' in text
    assert text.partition("Sensor and job")[2].count("a shelf of many words") == 20


def test_one_remark_leaves_the_trace_most_of_its_height():
    page = sheet_html(remarked())
    assert "Test equipment not calibrated" in page
    heights = [float(h) for h in re.findall(r'viewBox="0 0 960 ([0-9.]+)"', page)]
    assert heights
    assert min(heights) >= 200
