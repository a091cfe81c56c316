"""The service under CPython and under MicroPython's unix port: the same cases, the same results."""

from __future__ import annotations

import json
from typing import Any

import pytest

from support.pythons import CASES, printed
from sweepboard import wire

PARTS = CASES / "service_parts"


def case(python: str, name: str, *arguments: int) -> Any:
    return json.loads(printed(python, PARTS / "cases.py", name, *arguments))


def test_hello_says_what_the_rig_is(python: str) -> None:
    hello = case(python, "hello")
    assert hello.keys() >= {
        *(
            "id",
            "firmware",
            "protocol",
            "board",
            "chip",
            "uid",
            "build",
            "capabilities",
            "hookups",
            "channels",
        ),
        *("window", "conversion_hz", "records_per_packet", "reset_cause", "python", "self_check"),
    }
    assert (hello["protocol"], hello["channels"], hello["window"]) == (wire.PROTOCOL, 3, 166)
    assert {"snapshots", "histogram", "supply-switch"} <= set(hello["capabilities"])
    assert hello["self_check"] == {"free_bytes": 5}


def test_a_bad_command_gets_its_reason_and_the_service_lives_on(python: str) -> None:
    out = case(python, "bad_commands")
    for expected, errors, reasons, _ids in out["answers"]:
        assert errors == [expected], reasons
        assert len(reasons[0]) > 10
    assert [ids for *_, ids in out["answers"]][7:24] == [[7]] * 17
    assert out["count"] == len(out["answers"])
    assert out["hello"] == 1


def test_a_command_that_fails_is_refused_and_leaves_all_off(python: str) -> None:
    assert case(python, "failing") == [[False, "failed", 0, "full", 1]] * 4


def test_brackets_however_deep_do_not_end_the_service(python: str) -> None:
    out = case(python, "deep")
    assert out["errors"] == ["malformed"] * 8
    assert out["hello"] == "full"


def test_in_a_flood_what_ends_something_overtakes_and_voids(python: str) -> None:
    out = case(python, "flood")
    assert (out["outputs"], out["after"], out["waiting"]) == (0, 0, 0)
    assert out["steps"] < 20  # 128 bytes a step: what is behind them is not waited for
    assert out["unheard"] >= 15


def test_in_a_flood_at_rest_supply_off_waits_for_little(python: str) -> None:
    out = case(python, "flood_at_rest")
    assert out["took_ms"] < 500
    assert (out["after"], out["waiting"], out["hello"]) == (0, 0, "full")


def test_garbage_is_bounded_and_the_next_command_is_answered(python: str) -> None:
    out = case(python, "garbage")
    assert out["longest"] <= wire.MAX_MESSAGE + 65
    assert (out["hello"], out["supply"]) == (1, 0)


def test_records_are_exactly_what_was_converted(python: str) -> None:
    out = case(python, "exact")
    assert out["n"] >= 80
    assert out["indices"]
    assert out["wrong"] == []
    assert out["flags"] == [wire.FLAG_SPLICE, 0, 0]


def test_a_bad_conversion_is_flagged_counted_and_masked(python: str) -> None:
    out = case(python, "bad_conversions")
    assert out["flags"] == [wire.FLAG_SPLICE, wire.FLAG_CONVERSION_ERROR, 0]
    assert out["errors"] == 2
    assert out["max"] == 331 * 5  # of the ramp in the second window: 331 * 5 = 1655, its error bit removed


@pytest.mark.parametrize("block", [1, 64])
def test_host_stalled_2_s_leaves_every_record_accounted_for(python: str, block: int) -> None:
    out = case(python, "stalled", block, 2000)
    missing = {i for index, n, _reason in out["gaps"] for i in range(index, index + n)}
    there = set(out["records"])
    assert there.isdisjoint(missing)
    assert there | missing == set(range(out["stop"]["index"]))
    assert {reason for *_, reason in out["gaps"]} == {wire.GAP_HOST_SLOW}
    assert len(out["gaps"]) == 1
    assert len(missing) == out["stop"]["windows_dropped"] > 1000
    assert len(missing) % wire.RECORDS_PER_PACKET == 0
    assert out["stop"]["windows_made"] == len(there) + len(missing)
    assert out["stop"]["windows_sent"] == len(there)
    assert out["depth"] <= 33
    assert out["multiple"] == 0
    # what waited goes out in parts, and windows are taken in between
    written, taken = zip(*out["steps"], strict=True)
    assert max(written) == 1472
    assert sum(written) > 15_000
    assert all(n > 0 for n in taken)


def test_a_host_that_never_reads_fills_no_memory(python: str) -> None:
    out = case(python, "never_read")
    assert out["depth"] <= 28
    assert out["waiting"] > 5000
    assert out["answers"] == 200


def test_a_port_that_takes_little_gets_the_same_bytes(python: str) -> None:
    out = case(python, "partial")
    assert out["same"]
    assert out["n"] > 2000


def test_nothing_streams_without_a_host(python: str) -> None:
    out = case(python, "keep_alive")
    assert out["lived"]
    assert 2.0 < out["after_s"] <= wire.KEEP_ALIVE_MS / 1000 + 0.01
    assert not out["running"]
    assert (out["outputs"], out["silent"]) == (0, 0)


def test_without_a_stream_all_is_off_10_s_after_the_last_word(python: str) -> None:
    out = case(python, "supply_alone")
    assert out["lived"] == 1 | 2 | 4
    assert 9500 < out["after_ms"] <= 10_010


WORDS = 498


@pytest.mark.parametrize(
    ("at", "before", "after"),
    [
        (3 * WORDS + 6, 30, 60),  # reaches back into the window before
        (3 * WORDS + 240, 30, 60),  # all inside one window
        (4 * WORDS - 21, 30, 900),  # goes on into the two windows after
        (3 * WORDS + 240, 498, 1500),  # as much as there can be
        (3 * WORDS + 240, 0, 0),
    ],
)
def test_a_snapshot_holds_the_conversions_around_the_event(
    python: str, at: int, before: int, after: int
) -> None:
    ((index, first, trigger, channels, channel, n, same),) = case(
        python, "snapshot", at, 1000, before, after, 300, 0
    )
    assert same, "the codes are not those of their place"
    assert index * WORDS + first + trigger == at
    assert (channels, channel) == (3, 0)
    assert first % 3 == 0
    assert before <= trigger <= before + 2
    assert after <= n - trigger - 1 <= after + 2


def test_a_snapshot_of_the_first_window_begins_with_it(python: str) -> None:
    ((index, first, trigger, *_rest, same),) = case(python, "snapshot", 6, 1000, 300, 60, 300, 0)
    assert (index, first, trigger, same) == (0, 0, 6, True)


def test_below_the_threshold_there_is_no_snapshot(python: str) -> None:
    assert case(python, "snapshot", 3 * WORDS + 6, 300, 30, 60, 300, 0) == []
    assert len(case(python, "snapshot", 3 * WORDS + 6, 301, 30, 60, 300, 0)) == 1


def test_a_jump_between_two_windows_is_a_snapshot(python: str) -> None:
    ((index, first, trigger, _, channel, n, codes),) = case(python, "step_jump")
    assert index * WORDS + first + trigger == 6 * WORDS
    assert (channel, n) == (0, 63)
    assert codes == [1000] * 30 + [1300] * 33


def test_snapshots_are_limited_in_rate_and_the_others_counted(python: str) -> None:
    out = case(python, "snapshot_rate")
    assert len(out["at"]) == 6
    assert min(b - a for a, b in zip(out["at"], out["at"][1:], strict=False)) >= 199
    assert out["skipped"] > 900


def test_the_histogram_counts_every_code(python: str) -> None:
    out = case(python, "histogram")
    assert out["ok"]
    assert out["second"] == "busy"
    assert out["heads"] == [[1, 0, first, 20] for first in range(0, 4096, 512)]
    assert out["match"]
    assert out["sum"] == 20 * 166


def test_ramp_is_straight_refused_where_forbidden_and_ends(python: str) -> None:
    out = case(python, "slow_ramp")
    assert out["errors"] == ["not-now", "out-of-range", "refused", "refused", "not-fitted"]
    assert out["idle"] == [0, 0, None]
    assert out["reply"]["lasts_ms"] == 2000
    assert out["supply"] == "not-now"
    assert 0 < out["permille"] < 1000
    began = out["course"][0][0] - 1000 * out["course"][0][1] / 65535
    assert len(out["course"]) > 30
    for ms, duty in out["course"][:-1]:
        into = ms - began
        assert duty / 65535 == pytest.approx(min(into, 2000 - into) / 1000, abs=0.002)
    assert max(duty for _, duty in out["course"]) > 60000
    assert out["course"][-1][1] == 0


def test_whatever_ends_a_ramp_leaves_the_pin_low(python: str) -> None:
    ends = case(python, "ramp_ends")
    assert set(ends) == {"asked", "stop", "start", "tapped", "histogram", "silence", "prompt"}
    for name, (before, after) in ends.items():
        assert before > 0, name
        assert after == 0, name


def test_while_tapped_nothing_is_fed_in(python: str) -> None:
    out = case(python, "interlock")
    assert out["before"] == 1 | 2 | 4
    assert out["during"] == [16, 16]
    assert out["errors"] == ["refused"] * 5
    assert out["off"] == [True] * 3
    assert out["after_stop"] == "refused"
    assert out["powered"]
    assert out["plain"] == "refused"
    assert out["freed"] == 2  # when it is tapped, and at stop
    assert out["seen"] == 1 | 2 | 4 | 16 or out["seen"] == 16


def test_the_lead_that_is_plugged_in_decides(python: str) -> None:
    assert case(python, "lead") == ["refused", "refused", None, "refused", None]


def test_a_sensor_that_is_fed_already_gets_no_supply(python: str) -> None:
    out = case(python, "voltage_there")
    assert out["errors"] == ["refused", "refused"]
    assert "channel 2 reads code 3000" in out["reason"]
    assert out["outputs"] == 0


def test_a_press_of_the_button_is_marked_once(python: str) -> None:
    out = case(python, "button")
    assert [mark for _, mark in out["marks"]] == [[0, 0, 1], [0, 0, 2]]
    assert out["flagged"] > 100


def test_records_say_what_is_switched_on(python: str) -> None:
    supply, burden, bias, fault, seen = case(python, "flags")
    assert supply == wire.FLAG_SUPPLY_ON
    assert burden == supply | wire.FLAG_BURDEN_ON
    assert bias == burden | wire.FLAG_BIAS_ON
    assert fault == bias | wire.FLAG_SUPPLY_FAULT
    assert seen == 1 | 2 | 8


def test_slow_readings_come_at_their_pace(python: str) -> None:
    out = case(python, "slow")
    assert 19 <= out["n"] <= 21
    assert out["readings"] == [[wire.SLOW_SIGNAL_A, 0, 0, 1234567], [wire.SLOW_GROUND, 1, 0, -125]]
    assert out["off"] == 0


def test_prompt_answers_and_leaves_everything_off(python: str) -> None:
    out = case(python, "leaving")
    assert out["ok"] == [True]
    assert out["powered"]
    assert out["dog"][-1] == "stop"
    assert (out["outputs"], out["running"]) == (0, False)


def test_the_watchdog_runs_only_while_streaming(python: str) -> None:
    out = case(python, "watched")
    assert out == {"before": [], "calls": ["start", "feed", "stop"]}


def test_what_the_source_lost_is_placed(python: str) -> None:
    out = case(python, "source_gap")
    assert out["indices"] == [*range(10), *range(17, 27)]
    assert out["sums"] == list(range(1, 21))
    assert out["gaps"] == [[10, 7, wire.GAP_OVERRUN]]
    assert out["order"] == [[wire.RECORDS, 0], [wire.GAP, 10], [wire.RECORDS, 17]]
    assert out["stop"]["conversions_lost"] == 7 * WORDS
    assert (out["stop"]["windows_made"], out["stop"]["index"]) == (20, 27)


def test_status_counts(python: str) -> None:
    made, sent, dropped, lost, errors, bad, _free, streaming, cause, _ = case(python, "status")
    assert made == 35  # what waits is taken before a command is obeyed, and after the heap is looked at
    assert sent == 32
    assert (dropped, lost, errors, bad, streaming, cause) == (0, 0, 0, 0, 1, 3)


def test_the_heap_is_collected_between_windows(python: str) -> None:
    at_rest, apart_ms = case(python, "tidied")
    assert at_rest == 0
    assert apart_ms
    assert all(300 <= ms <= 305 for ms in apart_ms)


def test_the_heap_is_collected_though_something_always_waits(python: str) -> None:
    waits, apart_ms = case(python, "tidied_late")
    assert waits
    assert len(apart_ms) >= 3
    assert all(400 <= ms <= 440 for ms in apart_ms)  # later it is full, and collected amid a command's work


def test_a_command_in_a_stream_begins_with_a_collected_heap(python: str) -> None:
    assert case(python, "tidied_for_a_command") == [0, 1, 1]


def test_the_record_index_wraps(python: str) -> None:
    first, second, third = case(python, "wrap")
    assert (second - first) % 2**32 <= 16
    assert (third - second) % 2**32 == 16
    assert third < second + 2**31


def test_positions_of_the_drive_and_its_refusals(python: str) -> None:
    out = case(python, "positions")
    assert out["refused"] == "refused"
    assert out["goto"]["position"] == 100
    assert out["position"] == 77
    assert not out["moving"]
    assert out["freed"] >= 1
    assert out["stop"] == [True, False]  # a stream that ends moves nothing on


def test_a_second_start_begins_anew(python: str) -> None:
    out = case(python, "started_twice")
    assert out["after"][:2] == [0, 16]
    assert out["selfcheck"] == "not-now"


def test_another_version_of_the_wire_is_refused(python: str) -> None:
    out = case(python, "other_protocol")
    assert [(a["error"], a["reason"]) for a in out["answers"]] == [("malformed", "protocol 9, not 1")]
    assert out["count"] == 3


def test_hosts_going_away_leave_no_half_frames(python: str) -> None:
    out = case(python, "abandoned")
    assert out["stopped"]
    assert out["waiting"] == 32
    assert out["made"] == 751
    assert out["dropped"] == pytest.approx(751 - 50 - 33 * 16, abs=32)


def test_what_a_host_that_went_away_did_not_take_is_counted(python: str) -> None:
    made, sent, dropped, n_bytes = case(python, "abandoned_counts")
    assert made == sent + dropped
    assert sent * wire.RECORD_SIZE == pytest.approx(n_bytes, abs=700)


def test_the_bias_is_off_when_a_stream_begins(python: str) -> None:
    assert case(python, "bias_off_at_start") == [4, 0]


def test_a_snapshot_never_reaches_across_a_gap(python: str) -> None:
    assert case(python, "snapshot_after_gap") == [[17, 0, 6, 3]]
