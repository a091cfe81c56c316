"""A capture keeps the profile it was judged by; whoever reads it later is told where that has changed."""

from __future__ import annotations

import hashlib
import json
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from support.scripted_rig import ScriptedRig, client_of, sensor, volts_of_rig
from sweeprig.bench.hookup.cautions import Unattended
from sweeprig.bench.hookup.prepare import prepare_hookup
from sweeprig.bench.review.kept_profile import AS_CAPTURED
from sweeprig.bench.review.result import schema, to_result
from sweeprig.bench.review.review import Choices, review_capture, review_csv
from sweeprig.bench.shop.profiles import show_json
from sweeprig.capture.file import pack, read_capture, write_capture
from sweeprig.capture.journal import Journal, JournalHead, read_journal
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import CaptureFileError, ProfileError
from sweeprig.judge.profile import load_profile, profile_text
from sweeprig.report.sheet import sheet_html
from sweeprig.twin.capture import capture_of


def _own(folder: Path) -> Path:
    """A user's own profile: the shipped one with another name and a note longer than a typed text may be."""
    text, _ = profile_text("adjustable-potentiometer")
    text = (
        text.replace('name = "adjustable-potentiometer"', 'name = "own"')
        + "# why: "
        + "reasons " * 500
        + "\n"
    )
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _prepared(profile: Path) -> SweepSetup:
    """The setup as any capture gets it: the hookup made ready on a rig."""
    client = client_of(ScriptedRig(sensor()))
    setup = SweepSetup(profile=str(profile), confirmed=("plug-off",))
    ask = Unattended(setup.confirmed)
    loaded = load_profile(profile)
    return prepare_hookup(volts_of_rig(client, setup, loaded), loaded, ask)


@pytest.fixture
def kept(tmp_path: Path) -> tuple[Path, Path]:
    """A capture file made with a user's own profile, and that profile."""
    profile = _own(tmp_path)
    made = capture_of("good", seed=3, seconds=5.0, build="full")
    path = tmp_path / "made.sweep"
    write_capture(path, replace(made, setup=_prepared(profile)))
    return path, profile


def test_the_file_holds_text_and_digest_whole(kept: tuple[Path, Path]) -> None:
    path, profile = kept
    text = profile.read_text(encoding="utf-8")
    with zipfile.ZipFile(path) as archive:
        setup = json.loads(archive.read("capture.json"))["setup"]
    assert setup["profile_text"] == text
    assert setup["profile_sha256"] == hashlib.sha256(text.encode()).hexdigest()
    assert read_capture(path).setup.profile_text == text


def test_a_journal_holds_them_as_well(tmp_path: Path) -> None:
    setup = _prepared(_own(tmp_path))
    head = JournalHead("2026-01-01T10:00:00+00:00", {}, setup, 166, 5e5)
    journal = Journal(tmp_path / "j", head, stem="x")
    journal.close()
    assert read_journal(journal.path)[0].setup.profile_text == setup.profile_text


def test_nothing_is_said_while_the_profile_is_the_same(kept: tuple[Path, Path]) -> None:
    path, profile = kept
    outcome = review_capture(read_capture(path))
    assert not [t for t in outcome.remarks if "profile" in t.lower()]
    result = to_result(outcome)
    Draft202012Validator(schema()).validate(result)
    assert result["profile_sha256"] == hashlib.sha256(profile.read_bytes()).hexdigest()
    code = result["profile_sha256"][:4].upper()
    assert f"own, version {code}-" in sheet_html(outcome)


def test_a_changed_profile_is_judged_by_and_said_to_be_changed(kept: tuple[Path, Path]) -> None:
    path, profile = kept
    before = review_capture(read_capture(path))
    assert before.judgement.verdict == "pass"
    old = profile.read_text(encoding="utf-8")
    at = old.index("[limits.span]")
    profile.write_text(old[:at] + old[at:].replace("value = 3.0", "value = 4.5", 1), encoding="utf-8")
    after = review_capture(read_capture(path))
    assert after.judgement.verdict == "fail"
    (said,) = (t for t in after.remarks if "profile" in t.lower())
    assert "own has changed since the capture" in said
    assert "limits.span.value 3.0, now 4.5" in said
    assert said.endswith(" (`--profile as-captured`).")
    assert said.replace(" (`--profile as-captured`)", "") in sheet_html(after)
    then = review_capture(read_capture(path), Choices(profile=AS_CAPTURED))
    assert then.judgement.verdict == "pass"
    assert then.profile.sha256 == before.profile.sha256
    assert then.setup.profile == str(profile)


def test_a_change_of_comments_is_called_that(kept: tuple[Path, Path]) -> None:
    path, profile = kept
    profile.write_text(profile.read_text(encoding="utf-8") + "# more\n", encoding="utf-8")
    assert "comments or layout only" in " ".join(review_capture(read_capture(path)).remarks)


def test_a_change_of_a_note_is_called_one_of_words(kept: tuple[Path, Path]) -> None:
    path, profile = kept
    old = profile.read_text(encoding="utf-8")
    profile.write_text(old.replace('note = "', 'note = "Mind: ', 1), encoding="utf-8")
    said = " ".join(review_capture(read_capture(path)).remarks)
    assert "(its words, but no limit)" in said
    assert "Mind" not in said


@pytest.mark.parametrize("what", ["gone", "broken"])
def test_capture_without_its_profile_uses_the_kept_one(kept: tuple[Path, Path], what: str) -> None:
    path, profile = kept
    before = review_capture(read_capture(path))
    profile.unlink()
    if what == "broken":
        profile.write_text("format = 1\n", encoding="utf-8")
    after = review_capture(read_capture(path))
    assert after.judgement.verdict == before.judgement.verdict
    assert after.profile.sha256 == before.profile.sha256
    assert [t for t in after.remarks if "Judged by the profile text kept in the capture." in t]


def test_another_profile_named_by_the_operator_needs_no_remark(kept: tuple[Path, Path]) -> None:
    path, profile = kept
    profile.unlink()
    outcome = review_capture(read_capture(path), Choices(profile="fixed-potentiometer"))
    assert outcome.judgement.profile_name == "fixed-potentiometer"
    assert not [t for t in outcome.remarks if "profile text kept" in t]


def test_a_capture_of_before_is_read_and_judged_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "old.sweep"
    write_capture(path, capture_of("good", seed=3, seconds=5.0, build="full"))
    members = {}
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    meta = json.loads(members["capture.json"])
    del meta["setup"]["profile_text"], meta["setup"]["profile_sha256"]
    members["capture.json"] = json.dumps(meta).encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    capture = read_capture(path)
    assert capture.setup.profile_text == ""
    assert review_capture(capture).judgement.verdict == "pass"
    with pytest.raises(ProfileError, match="has no profile of its own"):
        review_capture(capture, Choices(profile=AS_CAPTURED))


def test_a_text_that_does_not_fit_its_digest_is_refused(kept: tuple[Path, Path], tmp_path: Path) -> None:
    capture = read_capture(kept[0])
    other = tmp_path / "other.sweep"
    other.write_bytes(pack(replace(capture, setup=replace(capture.setup, profile_sha256="0" * 64))))
    with pytest.raises(CaptureFileError, match="profile_text"):
        read_capture(other)


def test_the_digest_is_shown_with_the_profile(tmp_path: Path) -> None:
    profile = _own(tmp_path)
    shown = show_json(load_profile(profile))
    assert shown["sha256"] == hashlib.sha256(profile.read_bytes()).hexdigest()
    assert "text" not in shown


def test_a_table_keeps_no_profile(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("time_s,signal_v\n0,1\n1,2\n", encoding="utf-8")
    with pytest.raises(ProfileError, match="has no profile of its own"):
        review_csv(table, Choices(profile=AS_CAPTURED))
