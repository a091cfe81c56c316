"""What a sweep says of captures that a crash left: short, whatever their number, with commands that name one."""

from __future__ import annotations

from pathlib import Path

import pytest

from sweeprig.cli.session import report_recovered

PLACE = Path("/home/shop/captures")


def told(n: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> list[str]:
    found = [PLACE / f"shelf-{k}.sweep" for k in range(n)]
    monkeypatch.setattr("sweeprig.capture.sweep.recover", lambda *_, **__: found)
    assert report_recovered(PLACE) == n
    return capsys.readouterr().err.splitlines()


def test_one_recovered_capture_has_its_command(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = told(1, monkeypatch, capsys)
    assert lines == [
        f"sweeprig: A capture that was not finished is recovered: {PLACE}/shelf-0.sweep",
        f"  Judge it: sweeprig review {PLACE}/shelf-0.sweep",
        f"  Its sheet: sweeprig sheet {PLACE}/shelf-0.sweep; its record: sweeprig records add {PLACE}/shelf-0.sweep",
    ]


@pytest.mark.parametrize("n", [2, 9])
def test_many_recovered_captures_are_a_count_and_one_command(
    n: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = told(n, monkeypatch, capsys)
    assert lines == [
        f"sweeprig: {n} captures that were not finished are recovered in {PLACE}.",
        f"  Judge one: sweeprig review {PLACE}/shelf-0.sweep",
    ]
