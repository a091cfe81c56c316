"""What stands on the sheet of a batch: for whom, by which limits, with which rig, and each sensor in words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from support import outcomes as oc
from support.records_world import numbered
from sweeprig.bench.batch.sheet import batch_page, batch_sheet, limits_text
from sweeprig.capture.file import write_capture
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile import load_profile
from sweeprig.records.rows import Record
from sweeprig.records.store import open_store

OWNED = {"customer": "Invented Boats", "vehicle": "Workboat 7", "job": "1042", "operator": "R. Invented"}


def kept(tmp_path: Path, one: Outcome, n: int) -> Outcome:
    """Write the outcome's capture; return the outcome of the file."""
    assert one.capture is not None
    written = write_capture(tmp_path / f"{n}.sweep", replace(one.capture, snapshots=()))
    return replace(one, capture=written)


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> list[Record]:
    folder = tmp_path_factory.mktemp("batch")
    profile = load_profile("adjustable-potentiometer")
    typed = OWNED | {"profile": profile.name, "profile_text": profile.text, "profile_sha256": profile.sha256}
    with open_store(folder / "r.sqlite") as store:
        for n in range(3):
            one = numbered(n, oc.outcome(worn=n == 1), serial=f"S-{n}", **typed)
            store.add(kept(folder, one, n), folder / f"{n}.sweep", batch="B")
        return store.find(batch="B", full=True)[::-1]


def test_the_batch_sheet_says_for_whom_and_by_whom(found: list[Record]) -> None:
    page = batch_page("B", found, workshop="Invented Workshop")
    assert page.whose[:3] == ("Customer: Invented Boats", "Vehicle or machine: Workboat 7", "Job: 1042")
    assert (page.workshop, page.testers) == ("Invented Workshop", "R. Invented")
    text = batch_sheet("B", found)
    assert text.count("Signature: R. Invented") == 1
    assert text.count("Tested by R. Invented") == 1


def test_the_batch_sheet_names_profile_limits_and_rig(found: list[Record]) -> None:
    facts = dict(batch_page("B", found).facts)
    profile = load_profile("adjustable-potentiometer")
    assert facts["Profile"] == f"{profile.name}: {profile.title}"
    assert facts["Limits"] == limits_text(profile)
    assert "closed 0.4 to 0.5 V; open 4 to 4.7 V" in facts["Limits"]
    assert found[0].rig_uid in facts["Rig"]
    assert f"calibrated {found[0].calibration_made_at[:10]}" in facts["Rig"]


def test_a_fail_before_the_last_sweep_stays_on_the_batch_sheet(found: list[Record]) -> None:
    """One serial number for two sensors, or a loose contact that shows in one of two sweeps."""
    twice = [replace(r, serial="S-1") for r in found[:2][::-1]] + [found[2]]
    page = batch_page("B", twice)
    assert page.counts == "2 sensors: 2 pass (1 of them not in an earlier sweep)"
    assert page.rows[0][:2] == ("S-1", "pass")
    assert "sweep 2 of this sensor; sweep 1: FAIL (worn spot at " in page.rows[0][-1]
    assert page.rows[1][-1] == ""


def test_the_batch_sheet_names_findings_in_words(found: list[Record]) -> None:
    page = batch_page("B", found)
    assert page.rows[1][-1].startswith("worn spot at ")
    assert page.rows[0][-1] == ""
    assert "worn-spot" not in batch_sheet("B", found)


def scaled(margin: dict[str, Any]) -> dict[str, Any]:
    """Return a margin judged at 5 V supply; the supply was 5.012 V."""
    return margin | {"measured_v": margin["value_v"], "value_v": margin["value_v"] * 5 / oc.SUPPLY_V}


def test_the_batch_sheet_has_volts_measured_and_judged(found: list[Record]) -> None:
    at_nominal = [replace(r, margins=tuple(scaled(m) for m in r.margins)) for r in found]
    page = batch_page("B", at_nominal)
    assert "closed as measured [V]" in page.heads
    assert "closed at 5 V supply [V]" in page.heads
    assert {len(row) for row in page.rows} == {len(page.heads)}
    assert "limits hold for the volts at 5 V supply" in page.note
    assert "closed at 5 V supply [V]" not in batch_page("B", found).heads  # a profile that is not ratiometric


def test_limits_of_a_batch_without_captures_are_todays(found: list[Record]) -> None:
    gone = [replace(r, capture_file="/nowhere/x.sweep") for r in found]
    assert "Limits (as the profile is today)" in dict(batch_page("B", gone).facts)
    unknown = [replace(r, profile="of-a-shop") for r in gone]
    assert dict(batch_page("B", unknown).facts)["Profile"] == "of-a-shop; its limits are not known here"


def test_one_finding_of_both_ends_is_named_once(found: list[Record]) -> None:
    twice = replace(found[1], findings=found[1].findings * 2)
    assert batch_page("B", [twice]).rows[0][-1] == batch_page("B", [found[1]]).rows[0][-1]
