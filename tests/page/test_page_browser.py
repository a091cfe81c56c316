"""The page in a real Chromium of a phone's size: followed, touched, typed at, cut off, lied to."""

from __future__ import annotations

import json
import re
import signal
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from run import Run
from shop import captured, fill
from world import KEY, live_scene, served, show

from sweeprig.capture.file import write_capture
from sweeprig.page.door import Door
from sweeprig.page.hub import Hub
from sweeprig.page.model import Action, Bar, Scene
from sweeprig.twin.capture import capture_of

pytest.importorskip("selenium", reason="selenium is not installed")
from support.browser import Browser, browser

pytestmark = pytest.mark.browser
BAR = Bar(5.0, 0.25, 0.25, 2.5, 0.45, 4.25)


@pytest.fixture(scope="module")
def window() -> Iterator[Browser]:
    with browser() as made:
        yield made


@pytest.fixture
def phone(window: Browser) -> Iterator[Browser]:
    window.size(390, 844, phone=True)
    window.driver.delete_all_cookies()
    window.complaints()
    yield window
    window.open("about:blank")


def test_a_phone_starts_a_sweep_and_reads_its_verdict(phone: Browser, terminals: Any) -> None:
    """A rehearsal: a hand does what the phone shows, and nobody looks at the terminal."""
    bench = terminals(
        "sweep", "--page", "--confirm", "plug-off", "--label", "shelf 3",
        "--port", "sim://good?rehearse=yes&vm=cpython&seed=3",
    )  # fmt: skip
    phone.open(f"http://{bench.host}/key/{bench.key}")
    phone.tap("Start without a movement")
    hand = {"OPEN SLOWLY": "o", "AND BACK": "c"}
    seen = ""
    while seen not in ("PASS", "FAIL", "UNDECIDED"):
        seen = phone.until(lambda seen=seen: (now := phone.text("#say")) != seen and now)
        bench.terminal.send(hand.get(seen, ""))
    assert seen == "PASS"
    assert "No fault seen" in phone.text("#under")
    assert "closed" in phone.text("#facts")
    assert phone.text("#simulated").startswith("SIMULATED")
    phone.run("document.getElementById('morelink').click()")
    phone.until(lambda: "shelf 3" in phone.text("body") and "/sheet" in phone.driver.current_url)
    assert phone.run("return document.referrer") == ""
    assert phone.complaints() == []
    bench.terminal.send("\r")
    assert bench.end() == 0


def test_the_key_is_gone_from_the_address_and_the_history(phone: Browser) -> None:
    with served() as page:
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#lead", "You lead")
        assert KEY not in phone.driver.current_url
        shown = json.dumps(phone.command("Page.getNavigationHistory")["entries"][-1])
        assert KEY not in shown
        assert phone.run("return document.cookie") == ""


def test_hostile_words_are_words(phone: Browser) -> None:
    bad = '<img src=x onerror="document.title=1">\u202e</script><svg onload=alert(1)>'
    with served() as page:
        scene = Scene(
            kind="live", title=bad, say=bad, under=bad, digits=bad, unit=bad, flag=bad, mark="!", strokes=bad,
            wanted=2, facts=(bad,) * 3, events=(bad,), link="/sheet", link_words=bad,
            actions=(Action("q", bad),), clock=bad,
        )  # fmt: skip
        show(page.hub, scene)
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until(lambda: "onerror" in phone.text("#facts"))
        assert (
            phone.run("return document.querySelectorAll('img, main svg[onload], script:not([src])').length")
            == 0
        )
        assert "onerror" in phone.text("#actions button")
        assert phone.complaints() == []


def test_a_scene_is_drawn_and_its_bar_stands_where_the_lever_is(phone: Browser) -> None:
    with served() as page:
        show(page.hub, replace(live_scene("HOLD OPEN"), bar=BAR, digits="2.500", unit="V"))
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#digits", "2.500")
        boxes = phone.run(
            "return ['bar','lowzone','now','highzone'].map(i => {const r = document.getElementById(i)"
            ".getBoundingClientRect(); return [r.left, r.right]})"
        )
        (left, right), low, now, high = boxes
        wide = right - left
        assert wide > 300
        assert (now[0] + now[1]) / 2 - left == pytest.approx(wide / 2, abs=wide * 0.02)
        assert low[1] - left == pytest.approx(0.05 * wide, abs=wide * 0.02)
        assert high[0] - left == pytest.approx(0.95 * wide, abs=wide * 0.02)


@pytest.mark.parametrize(("width", "height"), [(360, 740), (390, 844), (844, 390), (1280, 800)])
def test_nothing_runs_over_the_edge(phone: Browser, width: int, height: int) -> None:
    with served() as page:
        scene = replace(
            live_scene("CLOSE SLOWLY", "q", title="w" * 120), bar=BAR, digits="-12.345", unit="V", wanted=3,
            flag="NEAR GROUND: 0.2 V", facts=("x" * 200,),
        )  # fmt: skip
        show(page.hub, scene)
        phone.size(width, height, phone=True)
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#digits", "-12.345")
        wide = phone.run("return [document.documentElement.scrollWidth, window.innerWidth]")
        assert wide[0] <= wide[1]


def test_a_link_that_dies_is_said_and_comes_back(phone: Browser, tmp_path: Path) -> None:
    """A program that is held still looks like a network that is gone: nothing comes, and nothing is refused."""
    still = "sim://good?hand=still&vm=cpython&seed=3"
    with Run("watch", "--page", "--confirm", "plug-off", "--port", still, home=tmp_path) as run:
        phone.open(f"http://{run.host}/key/{run.key}")
        phone.until_text("#flag", "CLEAR")
        run.process.send_signal(signal.SIGSTOP)
        assert "What is shown is old" in phone.until_text("#link", "NO LINK TO THE BENCH")
        run.process.send_signal(signal.SIGCONT)
        phone.until(lambda: phone.text("#link") == "")


def test_a_server_that_comes_back_is_found_again(phone: Browser) -> None:
    hub, door = Hub(), Door(key=KEY)
    with served(hub, door=door) as page:
        show(hub, live_scene("HOLD CLOSED"))
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#say", "HOLD CLOSED")
    phone.until_text("#link", "THE BENCH HAS ENDED")
    with served(hub, door=door, port=page.port):
        show(hub, live_scene("HOLD OPEN"))
        phone.until_text("#say", "HOLD OPEN")
        assert "BENCH" not in phone.text("#link")


def test_a_bench_started_anew_asks_for_its_new_code(phone: Browser) -> None:
    with served() as page:
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#lead", "You lead")
    with served(port=page.port):
        phone.until_text("#link", "STARTED ANEW. Scan the code")


def test_a_rig_that_says_nothing_more_is_told_of(phone: Browser) -> None:
    with served() as page:
        show(page.hub, live_scene("HOLD CLOSED"))
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#link", "NO WORD FROM THE RIG")
        show(page.hub, live_scene("HOLD OPEN"))
        phone.until_text("#say", "HOLD OPEN")
        assert "BENCH" not in phone.text("#link")


def test_a_bench_that_has_ended_says_so_and_keeps_its_last_word(phone: Browser) -> None:
    with served() as page:
        show(page.hub, Scene(kind="verdict", title="", say="pass", verdict="pass"))
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#say", "PASS")
    phone.until_text("#link", "THE BENCH HAS ENDED")
    assert phone.text("#say") == "PASS"


def test_every_button_is_reached_by_the_keyboard_alone(phone: Browser) -> None:
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    with served() as page:
        show(page.hub, live_scene("OPEN SLOWLY", "\r", "q"))
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.button("do q")
        seen = []
        for _ in range(12):
            ActionChains(phone.driver).send_keys(Keys.TAB).perform()
            seen.append(phone.run("return document.activeElement.innerText"))
            if seen[-1] == "do q":
                ActionChains(phone.driver).send_keys(Keys.ENTER).perform()
        assert {"do q", "Switch the supply OFF", "Hand over the lead"} <= set(seen)
        pressed = page.hub.keys
        phone.until(lambda: "q" in pressed())


def test_a_second_phone_sees_who_leads_and_has_no_keys(phone: Browser) -> None:
    with served() as page:
        first = page.follow(page.cookie())
        first.next("lead")
        show(page.hub, live_scene("OPEN SLOWLY", "\r"))
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#lead", "phone 1 leads. You are phone 2.")
        assert phone.text("#actions") == ""
        phone.tap("Switch the supply OFF")
        phone.until(page.hub.off)
        first.close()
        phone.tap("Take the lead")
        phone.until_text("#lead", "You lead")
        phone.button("do \r".strip())


def test_a_missing_key_gets_a_page_that_says_what_to_do(phone: Browser) -> None:
    with served() as page:
        phone.open(f"http://{page.host}/")
        assert "Scan the code at the terminal" in phone.text("main")
        phone.open(f"http://{page.host}/key/of-yesterday")
        assert "made anew at every start" in phone.text("main")


def test_a_page_of_another_origin_can_neither_order_nor_read(phone: Browser) -> None:
    """Two rigs on one machine are two origins of one site: the strictest cookie alone would not tell them apart."""
    with served() as page, served() as other:
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#lead", "You lead")
        phone.open(f"http://{other.host}/key/{KEY}")
        phone.until_text("#lead", "You lead")
        ask = """
            const done = arguments[arguments.length - 1], how = {method: arguments[1], credentials: 'include'};
            fetch(arguments[0], how).then(a => done('read ' + a.status)).catch(() => done('refused'));
        """
        assert phone.driver.execute_async_script(ask, f"http://{page.host}/do", "POST") == "refused"
        assert phone.driver.execute_async_script(ask, f"http://{page.host}/", "GET") == "refused"
        assert not page.hub.off()


def test_the_state_is_a_live_region_for_screen_readers(phone: Browser) -> None:
    with served() as page:
        show(page.hub, replace(live_scene("HOLD OPEN"), flag="NEAR GROUND: 0.2 V", mark="!"))
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#say", "HOLD OPEN")
        region = phone.run(
            "return document.querySelector('[role=status]').textContent.trim().split(/\\s*\\n\\s*/)"
        )
        assert region == ["HOLD OPEN", "NEAR GROUND"]
        node = phone.run("const n = document.querySelector('#say').parentNode; return [n.role, n.ariaLive]")
        assert node == ["status", "polite"]
        assert phone.run("return document.documentElement.lang") == "en"


def test_records_are_searched_and_two_laid_over_each_other(phone: Browser, tmp_path: Path) -> None:
    fill(tmp_path)
    captured(tmp_path, "Q-9")
    with served(records=str(tmp_path)) as page:
        phone.open(f"http://{page.host}/key/{KEY}")
        phone.until_text("#lead", "You lead")
        phone.click("nav a[href='/records']")
        phone.until_text("h1", "Records")
        phone.run("document.querySelector('[name=words]').value = 'q-9'")
        phone.click(".search button")
        phone.until(lambda: len(phone.driver.find_elements("css selector", ".rows li")) == 2)
        phone.click(".rows .go")
        phone.until_text("main", "Over the sweep before")
        phone.run("document.querySelector('a[href^=\"/two\"]').click()")
        points = "return document.getElementById('both').dataset.points || ''"
        phone.until(lambda: phone.run(points))
        phone.until(lambda: phone.text("#right").startswith("stroke"))
        whole = phone.text("#left")
        for _ in range(4):
            phone.tap("Closer")
        phone.until(lambda: phone.text("#left") != whole)
        assert phone.run("return document.getElementById('patha').getAttribute('d').length") > 100
        phone.tap("Whole")
        phone.until(lambda: phone.text("#left") == whole)
        assert phone.complaints() == []
        for path in ("/records", "/sensor?name=P-2", "/record/6", "/two?a=8&b=9", "/batch?name=crate-7"):
            phone.size(360, 740, phone=True)
            phone.open(f"http://{page.host}{path}")
            wide = phone.run("return [document.documentElement.scrollWidth, window.innerWidth]")
            assert wide[0] <= wide[1], path
        assert phone.complaints() == []


def test_a_sensor_is_turned_by_what_the_phone_shows(phone: Browser, tmp_path: Path, terminals: Any) -> None:
    """A rehearsal: keys at the terminal turn the simulated sensor, the phone shows distance and direction."""
    before = write_capture(tmp_path / "before.sweep", capture_of("badly-mounted", seed=3, seconds=6.0))
    bench = terminals(
        "aim", "--page", "--mount", "slotted", "--from", before.path, "--confirm", "plug-off,turning",
        "--port", "sim://badly-mounted?rehearse=yes&vm=cpython&seed=3",
    )  # fmt: skip
    phone.open(f"http://{bench.host}/key/{bench.key}")
    for _ in range(40):
        way = phone.until(lambda: re.match("UP|DOWN|INSIDE", phone.text("#say")))[0]
        if way == "INSIDE":
            break
        shown = phone.text("#under")
        assert "turn so that the reading" in shown
        bench.terminal.send("+" if way == "UP" else "-")
        phone.until(lambda shown=shown: phone.text("#under") != shown)
    boxes = phone.run(
        "return ['window', 'here'].map(i => {const r = document.getElementById(i).getBoundingClientRect();"
        " return [r.left, r.right]})"
    )
    assert boxes[0][0] - 4 <= (boxes[1][0] + boxes[1][1]) / 2 <= boxes[0][1] + 4
    phone.until_text("#say", "HOLD CLOSED")  # inside for long enough: the sweep that confirms it
    phone.tap("Switch the supply OFF")
    assert bench.end() == 130
