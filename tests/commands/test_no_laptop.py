"""From the order to the sheets with nobody at the board in between, under MicroPython's unix port.

Sent by a host, kept by three presses of which the power cuts the last, brought home by a host: what comes home is what
a host would have received live, and is judged the same.
"""

from __future__ import annotations

import json
import resource
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from tests.support.field_trip import Trip, sent_out
from tests.support.kept_live import judged, judged_live, kept_content, live_content

from sweepboard import flash_page, wire
from sweeprig.bench.field import collect as bringing
from sweeprig.bench.field.kept import Kept, frames
from sweeprig.bench.field.order import read_order
from sweeprig.bench.field.send import send
from sweeprig.bench.hookup.cautions import Unattended
from sweeprig.capture.file import read_capture
from sweeprig.errors import BoardRefusedError, FileError, InputError, PortLostError, SafetyError
from sweeprig.words import KEPT

pytestmark = pytest.mark.micropython


@pytest.fixture(scope="module")
def trip(tmp_path_factory: pytest.TempPathFactory) -> Trip:
    """A rig that is back, tapped."""
    return sent_out(Trip(tmp_path_factory.mktemp("trip"), "tapped"))


@pytest.fixture(scope="module")
def home(trip: Trip) -> list[bringing.Collected]:
    """What came home."""
    return trip.collect()


def live_of(trip: Trip) -> bytes:
    """Return what a host gets live of the same hand."""
    out = trip.folder / "live"
    trip.board("live", str(out), trip.hookup)
    return out.read_bytes()


def test_two_come_home_whole_and_the_third_is_named_as_cut(home: list[bringing.Collected]) -> None:
    assert [one.kept.word for one in home] == ["kept", "kept", "cut"]
    assert [one.problem for one in home] == ["", "", ""]
    assert len(home[2].kept.data) > 1000


def check_like_live(trip: Trip, sweeps: list[Kept]) -> None:
    live = live_of(trip)
    for one in sweeps:
        assert frames(one, wire.WINDOW)
        ours = kept_content(one)
        assert len(ours) > 100_000
        assert ours == live_content(live, one)


def test_kept_sweeps_are_byte_for_byte_what_a_live_host_gets(
    trip: Trip, home: list[bringing.Collected]
) -> None:
    check_like_live(trip, [one.kept for one in home[:2]])


def test_powered_sweeps_are_byte_for_byte_those_of_a_live_host(tmp_path: Path) -> None:
    trip = sent_out(Trip(tmp_path, "powered"))
    with trip.host() as client:
        listed = bringing.look(client).sweeps
        sweeps = [bringing.fetch(client, one, lambda n, of: None) for one in listed]
    assert [one.word for one in sweeps] == ["kept", "kept", "cut"]
    check_like_live(trip, sweeps[:2])


def test_verdict_and_findings_are_those_of_the_live_sweep(trip: Trip, home: list[bringing.Collected]) -> None:
    live_of(trip)
    for one in home[:2]:
        assert one.done is not None
        assert judged(one.done.outcome) == judged(judged_live((trip.folder / "live").read_bytes(), one))
        assert str(one.done.outcome.judgement.verdict) in {"pass", "fail", "undecided"}


def test_captures_say_where_they_were_kept_and_how_timed(home: list[bringing.Collected]) -> None:
    for number, one in enumerate(home, 1):
        assert one.path is not None
        capture = read_capture(one.path)
        line = next(text for text in capture.setup.prepared if text.startswith(KEPT))
        assert f"sweep {number} of order" in line
        assert "the time of the sweep is not known" in line  # the board was off in between
        assert "at sending" in capture.setup.confirmed[0]
        assert capture.setup.job == "0417"
        assert one.done is not None
        assert all(path.is_file() for path in one.done.sheets)
    assert home[2].path is not None
    assert read_capture(home[2].path).ended == "recovered"


def test_a_second_collecting_writes_and_judges_nothing_twice(
    trip: Trip, home: list[bringing.Collected]
) -> None:
    from sweeprig.records.store import open_store

    before = sorted((trip.folder / "captures").iterdir())
    again = trip.collect()
    assert [one.done for one in again] == [None, None, None]
    assert [one.path for one in again] == [one.path for one in home]
    assert sorted((trip.folder / "captures").iterdir()) == before
    with open_store(trip.folder / "records") as store:
        assert store.count() == 3


def test_what_an_interruption_left_unjudged_is_judged(trip: Trip, home: list[bringing.Collected]) -> None:
    from sweeprig.records.store import open_store

    assert home[1].done is not None
    home[1].done.sheets[0].unlink()  # ended between capture and sheet
    again = trip.collect()
    assert [one.done is not None for one in again] == [False, True, False]
    assert home[1].done.sheets[0].is_file()
    with open_store(trip.folder / "records") as store:
        assert store.count() == 3


def test_unplugged_half_way_it_goes_on_where_it_was(
    trip: Trip, home: list[bringing.Collected], tmp_path: Path
) -> None:
    trip = replace(trip, home=tmp_path)
    with trip.host() as client:
        command, asked = client.command, []

        def unplugged(cmd: str, **args: Any) -> dict[str, Any]:
            asked.append(cmd == "kept_pages")
            if sum(asked) == 15:  # in the second sweep
                raise PortLostError("The board went away.", next_step="plug it in")
            return command(cmd, **args)

        client.command = unplugged  # type: ignore[method-assign]
        with pytest.raises(PortLostError, match="collect again"):
            list(bringing.collect(client, trip.base(), remove=False))
    first = sorted(path.name for path in (tmp_path / "captures").glob("*.sweep"))
    again = trip.collect()
    assert len(first) == 1
    assert [one.done is not None for one in again] == [False, True, True]
    assert len(list((tmp_path / "captures").glob("*.sweep"))) == 3


def test_a_full_disk_loses_nothing_on_the_board(
    trip: Trip, home: list[bringing.Collected], tmp_path: Path
) -> None:
    trip = replace(trip, home=tmp_path)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with trip.host() as client:
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, hard))
        try:
            with pytest.raises(FileError, match="free some space"):
                list(bringing.collect(client, trip.base(), remove=True))
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert len(bringing.look(client).sweeps) == 3
    assert not list((tmp_path / "captures").glob("*.sweep"))


def test_list_and_collected_say_in_words_how_each_went(trip: Trip, home: list[bringing.Collected]) -> None:
    from sweeprig.cli.commands.collect import list_lines

    with trip.host() as client:
        lines = list_lines(bringing.look(client))
    assert "3 sweeps, tapped: valid." in lines[0]
    assert [line.split(": ")[1].split(" (")[0] for line in lines[1:]] == [
        "kept", "kept", "cut off by the loss of power; the data up to then is complete",
    ]  # fmt: skip


def test_terminal_json_and_sheet_say_kept_on_the_board(home: list[bringing.Collected]) -> None:
    from sweeprig.bench.review.result import schema, to_result
    from sweeprig.cli.views.outcome import outcome_lines

    done = home[0].done
    assert done is not None
    assert any(KEPT in line for line in outcome_lines(done.outcome))
    assert str(to_result(done.outcome)["kept_on_board"]).startswith(f"{KEPT}, no laptop: sweep 1")
    assert "kept_on_board" in schema()["properties"]
    assert KEPT in done.sheets[0].read_text()


def test_a_new_order_waits_until_the_old_sweeps_are_home(trip: Trip, home: list[bringing.Collected]) -> None:
    with pytest.raises(InputError, match="sweeps of its present order"):
        trip.send()


def test_the_last_word_removes_only_what_is_on_disk(trip: Trip, home: list[bringing.Collected]) -> None:
    assert home[0].path is not None
    assert home[1].path is not None
    home[0].path.unlink()  # lost here: it is written again before it may go
    home[1].path.write_bytes(home[1].path.read_bytes()[:-100])  # damaged here
    removed = trip.collect(remove=True)
    with trip.host() as client:
        left = bringing.look(client)
    assert [one.removed for one in removed] == [True, True, True]
    assert left.sweeps == ()
    assert left.order is not None
    for one in removed:
        assert one.path is not None
        assert len(read_capture(one.path).records) > 100
    assert trip.send().order.sweeps == 3


def test_nothing_is_sent_that_nobody_confirmed(tmp_path: Path) -> None:
    trip = Trip(tmp_path, "powered")
    with trip.host() as client, pytest.raises(SafetyError, match="plug"):
        send(client, trip.setup(), Unattended(("cautions", "usb-first")), sweeps=3, sleep=lambda _: None)
    assert not (tmp_path / "flash").exists()


def test_more_sweeps_than_have_room_are_not_sent(tmp_path: Path) -> None:
    trip, quiet = Trip(tmp_path, "tapped"), Unattended(("cautions", "usb-first"))
    with trip.host() as client:
        with pytest.raises(InputError, match=r"6 sweeps of 60\.0 s"):
            send(client, trip.setup(), quiet, sweeps=6, seconds=60.0, sleep=lambda _: None)
        assert bringing.look(client).order is None
        assert (
            send(client, trip.setup(), quiet, sweeps=1, seconds=60.0, sleep=lambda _: None).order.sweeps == 1
        )
        assert send(client, trip.setup(), quiet, sweeps=6, sleep=lambda _: None).plan.longest_s >= 10.0


def test_the_board_refuses_a_powered_order_with_the_plug_on(tmp_path: Path) -> None:
    trip = Trip(tmp_path, "powered")
    sent = trip.send()
    rules = json.loads(sent.order.text) | {"plug_off": False}
    with trip.host() as client, pytest.raises(BoardRefusedError, match="plug is off"):
        client.command("keep_order", text=json.dumps(rules))


def test_an_order_comes_back_as_it_was_sent(tmp_path: Path) -> None:
    trip = Trip(tmp_path, "tapped")
    sent = trip.send(now=lambda: datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)).order
    back = read_order(sent.text)
    assert back.setup == replace(sent.setup, prepared=(), profile_text="")
    assert (back.id, back.sent, back.rules) == (sent.id, sent.sent, sent.rules)
    assert len(json.dumps({"order": sent.text})) < 12 * flash_page.ROOM
