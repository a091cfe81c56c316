"""`sweep --page` as it is typed, followed by a phone: to the verdict, started, ended, switched off, swept again."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from run import Run

FAST = "sim://good?pace=fast&vm=cpython&seed=3"
STILL = "sim://good?hand=still&vm=cpython&seed=3"
SWEEP = ("sweep", "--page", "--confirm", "plug-off", "--port")


def test_a_phone_follows_a_sweep_to_its_verdict_and_sheet(tmp_path: Path) -> None:
    with Run(*SWEEP, FAST, "--label", "shelf <b>3", home=tmp_path) as run:
        cookie = run.cookie()
        phone = run.follow(cookie)
        card = phone.scene("pass")
        assert card["kind"] == "verdict"
        assert card["title"] == "shelf <b>3"
        assert card["simulated"] is True
        assert card["off"] is False
        assert card["facts"][0].startswith("closed ")
        status, head, sheet = run.get(card["link"], cookie)
        assert status == 200
        assert "shelf &lt;b&gt;3" in sheet
        assert "sandbox" in head["content-security-policy"]
        phone.close()


def test_a_phone_starts_an_armed_sweep_and_ends_it(tmp_path: Path) -> None:
    with Run(*SWEEP, STILL, home=tmp_path) as run:
        cookie = run.cookie()
        phone = run.follow(cookie)
        armed = phone.scene("OPEN SLOWLY")
        assert [a["key"] for a in armed["actions"]] == ["\r"]
        assert run.order(cookie, do="key", key="\r") == ""
        phone.until(lambda scene: "q" in [a["key"] for a in scene["actions"]])
        assert run.order(cookie, do="key", key="q") == ""
        card = phone.verdict()
        assert [a["key"] for a in card["actions"]] == [" "]
        phone.close()


def test_a_phone_that_does_not_lead_switches_off_and_nothing_is_kept(tmp_path: Path) -> None:
    with Run(*SWEEP, STILL, home=tmp_path) as run:
        leader, other = run.cookie(), run.cookie()
        phone = run.follow(leader)
        phone.scene("HOLD CLOSED")
        assert run.order(other, do="key", key="\r") != ""
        assert run.order(other, do="off") == ""
        kept = phone.scene("NOTHING KEPT")
        assert kept["off"] is False
        assert not list(tmp_path.rglob("*.sweep"))
        assert run.order(leader, do="key", key=" ") == ""
        phone.scene("HOLD CLOSED")
        phone.close()


def test_the_key_stands_in_no_other_line_and_not_on_the_page(tmp_path: Path) -> None:
    with Run(*SWEEP, FAST, home=tmp_path) as run:
        cookie = run.cookie()
        phone = run.follow(cookie)
        phone.scene("pass")
        phone.close()
        assert run.key not in run.get("/", cookie)[2]
        run.end()
        assert sum(run.key in line for line in run.said) == 1


WITHOUT = """
import sys, importlib.util
real = importlib.util.find_spec
importlib.util.find_spec = lambda name, *a: None if name == "uvicorn" else real(name, *a)
sys.argv = ["sweeprig", "sweep", "--page", "--port", "sim://good"]
from sweeprig.cli.main import run
run()
"""


def test_without_the_libraries_the_line_that_installs_them_is_said() -> None:
    done = subprocess.run([sys.executable, "-c", WITHOUT], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "pip install 'sweeprig[page]'" in done.stderr
    assert "no uvicorn" in done.stderr


def test_help_and_a_sweep_without_a_page_load_no_server() -> None:
    code = (
        "import sys, sweeprig.cli.main, sweeprig.cli.web_page;"
        "print([m for m in ('starlette', 'uvicorn', 'segno', 'asyncio') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
