"""Profiles: what the shipped ones hold, and how a mistake is named."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from sweeprig.errors import ProfileError
from sweeprig.judge.profile import load_profile, profile_text, shipped_names
from sweeprig.judge.profile_check import check_text
from sweeprig.judge.profile_lines import key_lines, line_of
from sweeprig.judge.profile_model import Range

NAMES = (
    "adjustable-potentiometer",
    "any-three-wire",
    "fixed-potentiometer",
    "hall",
    "two-tracks-half-scale",
    "two-tracks-opposed",
    "two-tracks-parallel",
)


def mistaken(tmp_path: Path, old: str, new: str, *, like: str = "adjustable-potentiometer") -> Path:
    text, _ = profile_text(like)
    assert text.count(old) >= 1
    path = tmp_path / "mine.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


def test_the_shipped_ones() -> None:
    assert shipped_names() == NAMES
    for name in NAMES:
        profile = load_profile(name)
        assert profile.name == name
        assert (profile.sensor.tracks == 2) == name.startswith("two-tracks")


@pytest.mark.parametrize("name", NAMES)
def test_every_number_names_its_source(name: str) -> None:
    data = tomllib.loads(profile_text(name)[0])
    entries = [e for table in data.values() if isinstance(table, dict) for e in table.values()]
    sources = [e["source"] for e in entries if isinstance(e, dict)]
    assert len(sources) >= 14
    assert all(s.startswith(("common practice, no source", "own choice, no source")) for s in sources)


def test_values_of_the_trade() -> None:
    """Common practice, no source: 0.4 to 0.5 V closed, 4.0 to 4.7 V open, faults below 0.2 V, 5 V ± 0.25 V."""
    limits = load_profile("adjustable-potentiometer").limits
    assert limits.closed is not None
    assert limits.open is not None
    assert (limits.closed.low, limits.closed.high) == (0.4, 0.5)
    assert (limits.open.low, limits.open.high) == (4.0, 4.7)
    assert limits.lower_rail.value == limits.upper_rail.value == 0.2
    assert (limits.supply.low, limits.supply.high) == (4.75, 5.25)


def test_only_a_slotted_mount_is_aimed() -> None:
    for name in NAMES:
        profile = load_profile(name)
        assert (profile.aim is not None) == profile.sensor.slotted == (name == "adjustable-potentiometer")


def test_a_file_of_ones_own(tmp_path: Path) -> None:
    path = mistaken(tmp_path, "high = 0.5", "high = 0.55")
    profile = load_profile(path)
    assert profile.limits.closed is not None
    assert profile.limits.closed.high == 0.55
    assert profile.path == str(path)


@pytest.mark.parametrize(
    ("old", "new", "line_holds", "key", "what"),
    [
        ("tracks = 1", "tracs = 1", "tracs", "sensor.tracs", "is not known"),
        ("low = 0.4", 'low = "0.4"', 'low = "0.4"', "limits.closed.low", "value of the wrong type"),
        ("low = 0.4", "low = true", "low = true", "limits.closed.low", "value of the wrong type"),
        ("low = 0.4", "low = nan", "low = nan", "limits.closed.low", "value of the wrong type"),
        ("low = 0.4", "low = 0.6", "low = 0.6", "limits.closed", "upside down"),
        ("low = 0.4", "low = 99", "low = 99", "limits.closed.low", "out of range"),
        ("low = 0.4\n", "", "[limits.closed]", "limits.closed.low", "is missing"),
        ('kind = "potentiometer"', 'kind = "pot"', 'kind = "pot"', "sensor.kind", "not one of its words"),
        ('unit = "V"', 'unit = "mV"', 'unit = "mV"', "limits.closed.unit", "not one of its words"),
        ("slotted = true", "slotted = false", "[aim.closed]", "aim", "needs a slotted mount"),
        ("format = 1", "format = 2", "format = 2", "format", "out of range"),
        ("factor = 1.0", "factor = -1", "factor = -1", "guard.factor", "out of range"),
        ("[limits.span]\nvalue = 3.0", "[limits.span]\nvalue = 4.9", "value = 4.9", "limits.span", "no room"),
        ("[limits.span]", "[limits.spam]", "[limits.spam]", "limits.spam", "is not known"),
        ("[guard]", "[gaurd]", "[gaurd]", "gaurd", "is not known"),
    ],
)
def test_a_mistake_is_named_with_file_line_and_key(
    tmp_path: Path, old: str, new: str, *, line_holds: str, key: str, what: str
) -> None:
    path = mistaken(tmp_path, old, new)
    lines = path.read_text(encoding="utf-8").splitlines()
    _, problems = check_text(path.read_text(encoding="utf-8"))
    found = [p for p in problems if p.key == key and what in p.what]
    assert found, problems
    assert line_holds in lines[found[0].line - 1]
    with pytest.raises(ProfileError) as caught:
        load_profile(path)
    assert f"{path}, line {problems[0].line}: {problems[0].key} " in str(caught.value)


def test_two_track_limits_need_two_tracks(tmp_path: Path) -> None:
    path = mistaken(tmp_path, "tracks = 2", "tracks = 1", like="two-tracks-opposed")
    with pytest.raises(ProfileError, match="needs two tracks"):
        load_profile(path)


def test_every_mistake_is_found_in_order(tmp_path: Path) -> None:
    path = mistaken(tmp_path, "tracks = 1", "tracs = 1")
    path.write_text(path.read_text().replace("value = 1.0", "value = -1"), encoding="utf-8")
    _, problems = check_text(path.read_text())
    assert [p.key for p in problems] == ["sensor.tracs", "limits.loading.value", "limits.hysteresis.value"]
    with pytest.raises(ProfileError, match="2 more"):
        load_profile(path)


@pytest.mark.parametrize("text", ["a =", "[x\n", 'name = "a', "", "\x00"])
def test_what_is_not_toml_or_empty(text: str) -> None:
    _, problems = check_text(text)
    assert problems
    assert problems[0].line == 1


def test_a_dropped_table_and_a_scalar_in_its_place(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('format = 1\nname = "x"\ntitle = "t"\nlimits = 3\n', encoding="utf-8")
    _, problems = check_text(path.read_text())
    assert {p.key for p in problems} == {"limits", "sensor", "supply", "guard", "series"}
    assert next(p for p in problems if p.key == "limits").line == 4


def test_names_and_files_that_are_not_there(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="did you mean hall"):
        load_profile("hal")
    with pytest.raises(ProfileError, match="cannot be read"):
        load_profile(tmp_path / "none.toml")
    bad = tmp_path / "bad.toml"
    bad.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ProfileError, match="UTF-8"):
        load_profile(bad)


def test_lines_of_keys() -> None:
    text = 'a = 1\n# b = 2\n[ t . u ] # c\n  "k" = 3\n[v]\n'
    lines = key_lines(text)
    assert lines == {"a": 1, "t": 3, "t.u": 3, "t.u.k": 4, "v": 5}
    assert line_of(lines, "t.u.none") == 3
    assert line_of(lines, "w.x") == 1


def test_a_range_mirrors_about_the_supply() -> None:
    seen = Range(0.4, 0.5, "V", "s").mirrored(5.0)
    assert (seen.low, seen.high) == (4.5, 4.6)


def test_mistakes_come_in_the_order_of_their_lines() -> None:
    text = "[stray]\na = 1\n" + profile_text("hall")[0].replace("format = 1\n", "", 1)
    _, problems = check_text(text.replace("value = 0.2", "value = -1"))
    assert len(problems) > 3
    assert [p.line for p in problems] == sorted(p.line for p in problems)
    assert any(p.key == "stray" for p in problems[:-1])


NONSENSE = [  # table, key, value: each would let a bad sensor pass, or nothing happen
    ("limits.dropout", "value", "100"),
    ("limits.loading", "value", "100"),
    ("limits.linearity", "value", "100"),
    ("limits.hysteresis", "value", "50"),
    ("limits.lower_rail", "value", "9"),
    ("limits.at_rail", "value", "0.3"),
    ("limits.span", "value", "0"),
    ("limits.strokes", "value", "2.5"),
    ("limits.strokes", "value", "0"),
    ("limits.supply", "low", "0"),
    ("limits.supply", "high", "17.9"),
    ("limits.supply", "low", "5.1"),
    ("limits.supply_powered", "low", "0.6"),
    ("limits.closed", "low", "-0.9"),
    ("limits.open", "high", "6.0"),
    ("limits.lower_rail", "value", "0.6"),  # above all of the closed range
    ("aim.closed", "value", "2.5"),
    ("aim.tolerance", "value", "5"),
    ("series.start", "value", "100"),
    ("series.start", "value", "0"),
    ("series.rest", "value", "30"),
    ("series.strokes", "value", "3.7"),
    ("supply", "nominal_v", "1.0"),
]


def with_value(text: str, table: str, key: str, value: str) -> str:
    head, found, rest = text.partition(f"[{table}]\n")
    assert found
    lines = rest.split("\n")
    at = next(i for i, line in enumerate(lines) if line.startswith(f"{key} = "))
    lines[at] = f"{key} = {value}"
    return head + found + "\n".join(lines)


@pytest.mark.parametrize(("table", "key", "value"), NONSENSE)
def test_a_value_that_no_sensor_can_have_is_named(tmp_path: Path, table: str, key: str, value: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(with_value(profile_text("adjustable-potentiometer")[0], table, key, value))
    with pytest.raises(ProfileError) as caught:
        load_profile(path)
    assert caught.value.seen
    assert caught.value.limit
    named = "limits." if key == "nominal_v" or value == "0.6" else table
    assert named in caught.value.what


@pytest.mark.parametrize(("low", "high"), [(-0.1, 0.1), (-9.0, 9.0), (0.0, 0.5)])
def test_a_slope_that_allows_a_still_track_is_named(tmp_path: Path, low: float, high: float) -> None:
    text = with_value(profile_text("two-tracks-half-scale")[0], "limits.slope_b", "low", str(low))
    path = tmp_path / "mine.toml"
    path.write_text(with_value(text, "limits.slope_b", "high", str(high)))
    with pytest.raises(ProfileError, match="slope_b"):
        load_profile(path)


@pytest.mark.parametrize("nominal_v", [3.3, 10.0, 12.0])
def test_profiles_of_other_supplies_are_taken(tmp_path: Path, nominal_v: float) -> None:
    """All volts of a shipped profile scaled to another supply make a profile again."""
    text, share = profile_text("fixed-potentiometer")[0], nominal_v / 5.0
    for table in ("lower_rail", "upper_rail", "at_rail", "span"):
        value = tomllib.loads(text)["limits"][table]["value"]
        text = with_value(text, f"limits.{table}", "value", f"{value * share:.4f}")
    for table in ("closed", "open", "supply", "supply_powered"):
        for key in ("low", "high"):
            value = tomllib.loads(text)["limits"][table][key]
            text = with_value(text, f"limits.{table}", key, f"{value * share:.4f}")
    path = tmp_path / "mine.toml"
    path.write_text(with_value(text, "supply", "nominal_v", str(nominal_v)))
    assert load_profile(path).supply.nominal_v == nominal_v
