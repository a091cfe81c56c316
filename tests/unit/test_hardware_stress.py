"""What each part bears, beside what is left of its rating when hot; a part that is too weak is seen."""

from __future__ import annotations

import copy

import pytest
from hardware import stress
from hardware.tables_md import HERE

from sweeprig.frontend import front_end, tables
from sweeprig.frontend.tables import BUILDS, parts


@pytest.mark.parametrize("build", BUILDS)
def test_every_part_bears_what_it_gets(build: str) -> None:
    found = stress.stresses(build)
    assert set(found) == set(parts(build))
    assert [key for key, s in found.items() if not s.kept] == []
    assert all(s.most > 0 and s.left > 0 for s in found.values())


def test_stresses_by_hand() -> None:
    plain, full, driven = (stress.stresses(b) for b in BUILDS)
    assert plain["c_usb"] == stress.Stress(5.25, "V", 8.0)  # half of 16 V
    assert full["burden"].most == pytest.approx(35**2 / 100e3)
    assert full["c_supply"] == stress.Stress(35.0, "V", 50.0, fault=True)
    assert full["l_boost"].most == pytest.approx(0.35 / (0.68 * 0.95))
    assert full["l_boost"].left == pytest.approx(0.63)
    assert plain["r_limit"].most == pytest.approx(0.05845**2 * 12, rel=1e-3)
    assert driven["fuse_motor"].most == pytest.approx(0.8**2 * 6.7 / 12)
    assert plain["q_pass"].left == pytest.approx(1.6)
    assert full["fuse_usb"].most == pytest.approx(6.761 * 0.05845 / (0.75 * 4.4), rel=1e-3)


@pytest.mark.parametrize(
    ("build", "key", "change"),
    [
        ("full", "l_boost", {"rating": "0.5 A saturation, 0.5 ohm or less"}),
        ("plain", "c_usb", {"rating": "10 V"}),
        ("full", "q_burden", {"rating": "40 V"}),
        ("full", "d_block", {"rating": "1 A, 40 V"}),
        ("full", "r_boost_peak", {"rating": "0.125 W"}),
        ("driven", "motor", {"phase_a": 1.0}),
        ("full", "r_buzzer", {"value": 100.0}),
    ],
)
def test_a_part_that_is_too_weak_when_hot_is_seen(
    build: str, key: str, change: dict[str, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    changed = copy.deepcopy(dict(tables.table()))
    next(r for r in changed["part"] if r["key"] == key and build in r["builds"]).update(change)
    monkeypatch.setattr(tables, "table", lambda: changed)
    front_end.cache_clear()
    try:
        assert [k for k, s in stress.stresses(build).items() if not s.kept]
    finally:
        monkeypatch.undo()
        front_end.cache_clear()


def test_a_rating_without_its_figure_is_refused() -> None:
    with pytest.raises(ValueError, match="has no figure in A"):
        stress.rating(parts("plain")["c_usb"], "A")
    assert stress.rating(parts("full")["fuse_ground"], "A") == pytest.approx(0.05)


def test_the_page_shows_stress_and_derating() -> None:
    page = (HERE / "parts.md").read_text("utf-8")
    assert "| bears at most | left of the rating at 50 °C |" in page
    assert "| 35 V, in a fault | 50 V |" in page
