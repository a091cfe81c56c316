"""`sweeprig profile`."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sweeprig.bench.shop.profiles import new_profile
from sweeprig.cli.main import app
from sweeprig.errors import InputError, ProfileError
from sweeprig.judge.profile import load_profile, shipped_names

runner = CliRunner()


def test_list() -> None:
    out = runner.invoke(app, ["profile", "list"])
    assert out.exit_code == 0
    assert [line.split()[0] for line in out.stdout.splitlines()] == list(shipped_names())
    rows = json.loads(runner.invoke(app, ["profile", "list", "--json"]).stdout)["profiles"]
    assert [r["name"] for r in rows] == list(shipped_names())


def test_show_names_value_unit_source_and_note() -> None:
    out = runner.invoke(app, ["profile", "show", "adjustable-potentiometer"]).stdout
    assert "closed          0.4 to 0.5 V (general workshop value)" in out
    assert "controllers commonly take a signal below 0.2 V for a fault of the circuit" in out
    data = json.loads(runner.invoke(app, ["profile", "show", "hall", "--json"]).stdout)
    assert data["limits"]["lower_rail"]["value"] == 0.2
    assert data["limits"]["correlation"] is None


def test_new_then_check(tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    out = runner.invoke(app, ["profile", "new", "ours", "--like", "hall", "--out", str(path)])
    assert out.exit_code == 0
    assert out.stdout.strip() == str(path)
    assert load_profile(path).name == "ours"
    assert load_profile(path).sensor.kind == "hall"
    assert runner.invoke(app, ["profile", "check", str(path)]).exit_code == 0
    path.write_text(path.read_text().replace("nominal_v = 5.0", "nominal_v = 50"), encoding="utf-8")
    bad = runner.invoke(app, ["profile", "check", str(path)])
    assert bad.exit_code == 4
    assert f"{path}, line " in bad.stdout
    assert "supply.nominal_v is out of range" in bad.stdout
    data = json.loads(runner.invoke(app, ["profile", "check", str(path), "--json"]).stdout)
    assert data["ok"] is False
    line = data["problems"][0]["line"]
    assert path.read_text().splitlines()[line - 1] == "nominal_v = 50"


def test_new_never_writes_over_a_file(tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(ProfileError, match="already exists"):
        new_profile("ours", like="hall", out=path)
    assert path.read_text() == "mine"
    with pytest.raises(ProfileError, match="cannot be written"):
        new_profile("ours", like="hall", out=tmp_path / "none" / "ours.toml")


@pytest.mark.parametrize("name", ["", "a b", "../x", "hall"])
def test_new_wants_a_name_of_its_own(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError):
        new_profile(name, like="hall", out=tmp_path / "x.toml")
    assert not (tmp_path / "x.toml").exists()
