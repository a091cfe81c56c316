"""The parts of a board on MicroPython's unix port, with stand-ins for pins, buses and registers."""

from __future__ import annotations

import json
import struct
import tomllib
from pathlib import Path
from typing import Any

import pytest

from support.pythons import CASES, micropython, printed
from sweepboard import pins, wire

HERE = Path(__file__).parent
PARTS = CASES / "board_parts"
TABLES = HERE.parents[1] / "host" / "sweeprig" / "frontend" / "parts.toml"


def case(name: str, *arguments: int | str) -> Any:
    return json.loads(printed(micropython(), PARTS / "part_cases.py", name, *arguments).splitlines()[-1])


def test_pins_are_those_of_the_schematic() -> None:
    tables = tomllib.loads(TABLES.read_text())
    for pin in tables["pin"]:
        assert getattr(pins, pin["name"]) == pin["gpio"]
        assert [build for build in pins.PINS if pin["name"] in pins.PINS[build]] == pin["builds"]
    assert sum(len(pins.PINS[build]) for build in pins.PINS) == sum(len(p["builds"]) for p in tables["pin"])
    for build, table in tables["builds"].items():
        assert list(pins.HOOKUPS[build]) == table["hookups"]
        assert list(pins.CAPABILITIES[build]) == table["capabilities"]


@pytest.mark.micropython
def test_switches_are_off_at_start_and_obey() -> None:
    out = case("switches_full")
    assert out["start"] == [0, 0, 0, 1]  # supply, burden, bias up released low, bias down released high
    assert out["outputs"] == [3]
    assert out["bias"] == [[1, 1, 3 | 4], [0, 0, 3 | 8], [0, 1, 3]]
    assert out["tapped"] == 3 | 16
    assert out["lead"] == [False, True]  # the powered lead pulls LINK low
    assert out["button"] == [False, True]
    assert out["tone"] == [[pins.BUZZER, True], 0]
    assert out["ramp"] == [pins.RAMP, 2000, 1000, 0, True, 0]
    assert sorted(out["blink"]) == [0, 0, 1, 1]
    assert out["writes"] in ([False, True, False, True], [True, False, True]), "written only where it changes"
    assert set(out["fitted"]) == set(pins.CAPABILITIES["full"]) - {"monitor"} | {"light"}


@pytest.mark.micropython
def test_a_light_outside_leaves_the_radio_alone() -> None:
    out = case("lights")
    assert out["chosen"] == ["LED", 15, None, "LED", "LED", "LED"]
    assert out["made"] == [[True, 1], [False, 1]]
    assert not out["own"]


@pytest.mark.micropython
def test_the_fault_pin_listens_only_while_it_is_read() -> None:
    out = case("fault")  # RP2350 erratum E9
    assert out["fault"] == [False, True]
    assert [word & 1 << 6 for word in out["writes"]] == [64, 0, 64, 0]
    assert out["pad"] == 0x16
    assert out["used"] == [pins.SUPPLY_ON, "LED"], "a plain build drives no other pin"


@pytest.mark.micropython
def test_the_monitor_reads_four_inputs() -> None:
    out = case("monitor", 0)
    a, supply, ground, battery = wire.SLOW_SIGNAL_A, wire.SLOW_SUPPLY, wire.SLOW_GROUND, wire.SLOW_BATTERY
    readings = [[a, 0, 1_000_000], [supply, 0, 3_000_000], [ground, 0, -1000], [battery, 0, 4_095_875]]
    assert out["readings"] == readings  # 125 uV a code at 4.096 V full scale and 16 bits
    assert [address for address, _, _ in out["asked"]] == [0x48] * 4
    assert [word >> 12 & 7 for *_, word in out["asked"]] == [4, 5, 6, 7]
    assert {word & 0x8FFF for *_, word in out["asked"]} == {0x8000 | 0x0200 | 0x0100 | 0x0080 | 0x0003}
    assert len(out["done"]) == 1
    assert out["done"][0] >= 4 * 9
    assert not out["idle"]


@pytest.mark.micropython
def test_a_monitor_that_does_not_answer_says_so() -> None:
    assert [status for _, status, _ in case("monitor", 1)["readings"]] == [0, 1, 0, 0]
    never = case("monitor", 2)
    assert [status for _, status, _ in never["readings"]] == [1] * 4
    assert never["done"][0] < 300


@pytest.mark.micropython
def test_the_drive_goes_where_the_encoder_says() -> None:
    out = case("drive", 0)
    assert out["state"] == "arrived"
    assert out["at"] == pytest.approx(2000, abs=8)
    assert out["ms"] == pytest.approx(1000, rel=0.02)  # 1000 counts at 1000 counts a second
    assert out["duty"] == 0


@pytest.mark.micropython
@pytest.mark.parametrize(
    ("kind", "state", "within_ms", "free"),
    [(1, "stalled", 620, 1), (2, "home", 900, 0), (4, "home reached", 900, 0), (5, "no encoder", 220, 1)],
)
def test_the_drive_stops_by_itself(kind: int, state: str, within_ms: int, free: int) -> None:
    out = case("drive", kind)
    assert out["start"] == "moving"
    assert out["state"] == state
    if state == "home reached":
        assert 200 - out["at"] == pytest.approx(
            64, abs=5
        )  # counts past the switch: the lever meets its stop there
    assert out["ms"] <= within_ms
    assert (out["duty"], out["free"]) == (0, free)


@pytest.mark.micropython
def test_a_reversed_motor_is_learnt_from_a_small_step() -> None:
    there, back = case("runaway", "reversed")
    assert there[0] == back[0] == "arrived"
    assert there[1] == pytest.approx(2000, abs=8)
    assert back[1] == pytest.approx(1500, abs=8)
    assert -16 <= there[2] < 0  # counts the wrong way, 16 are 1.4 degrees
    assert back[3] == 0


@pytest.mark.micropython
def test_a_reversed_motor_is_learnt_against_a_stop_too() -> None:
    there, on = case("runaway", "at a stop")
    assert there[0] == on[0] == "arrived"
    assert there[1] == pytest.approx(1100, abs=8)
    assert there[2] == 0
    assert on[4] < 310  # learnt: no other way is tried


@pytest.mark.micropython
def test_a_jammed_drive_tries_either_way_once() -> None:
    first, second = case("runaway", "jammed")
    assert (first[0], first[5]) == (second[0], second[5]) == ("stalled", 1)
    assert first[2] == first[3] == 0
    assert first[4] <= 620


@pytest.mark.micropython
def test_a_drive_that_crosses_count_0_stops_all_the_same() -> None:
    ((state, _at, least, most, ms, _free),) = case("runaway", "wrap")
    assert state == "arrived"
    assert -140 < least < -90
    assert most == 0
    assert ms < 100


@pytest.mark.micropython
def test_a_target_is_reached_by_the_shorter_way_round() -> None:
    there, back = case("runaway", "round")
    assert there[0] == back[0] == "arrived"
    assert (there[1], back[1]) == (pytest.approx(100, abs=8), pytest.approx(3900, abs=8))
    assert there[3] == pytest.approx(296, abs=8)  # counts: 3900 to 4096 and on to 100
    assert there[2] == 0
    assert back[2] == pytest.approx(-296, abs=8)


@pytest.mark.micropython
def test_a_motor_that_turns_the_wrong_way_is_let_go() -> None:
    _good, (state, _at, least, most, ms, free) = case("runaway", "later")
    assert (state, free) == ("wrong way", 1)
    assert least > -20
    assert most == 0
    assert ms < 50


@pytest.mark.micropython
def test_a_motor_that_turns_round_amid_a_way_is_let_go() -> None:
    ((state, at, _least, most, ms, free),) = case("runaway", "amid")
    assert (state, free) == ("wrong way", 1)
    assert most - (at - 1000) < 16  # counts back from where it had come, 1.4 degrees
    assert ms < 530


@pytest.mark.micropython
def test_the_drive_does_not_start_without_a_magnet() -> None:
    out = case("drive", 3)
    assert "encoder" in out["problem"]
    assert out["position"] == wire.NO_POSITION


@pytest.mark.micropython
def test_the_watchdog_can_be_stopped_and_a_reset_is_named() -> None:
    out = case("watchdog")
    for timeout_ms, fed, ctrl in out["dogs"].values():
        assert (timeout_ms, fed) == (4000, 1)
        assert ctrl == 0xC0001234 & ~(1 << 30)
    assert out["causes"] == ["watchdog", "software", "reset pin", "debugger", "power on", "power on"]
    assert set(out["causes"]) == {"power on", "reset pin", "watchdog", "software", "debugger"}


@pytest.mark.micropython
def test_service_failing_at_once_leaves_the_prompt() -> None:
    out = case("boot_fails", 5)
    assert out["runs"] == 3
    assert out["said"] == ["worn out"] * 3
    assert out["each"] == ["safe", "source stop", "close", "end watch"]


@pytest.mark.micropython
def test_a_source_that_cannot_be_stopped_leaves_nothing_on() -> None:
    assert case("boot_stops_badly") == ["run", "safe", "source stop", "close", "end watch"]


@pytest.mark.micropython
def test_a_service_that_worked_for_a_while_is_started_again() -> None:
    assert case("boot_fails", 20_000)["runs"] == 6


@pytest.mark.micropython
def test_the_button_at_boot_leaves_the_prompt() -> None:
    assert case("boot_prompt") == [False, True]


@pytest.mark.micropython
def test_the_build_is_found_by_what_answers() -> None:
    assert case("build") == ["plain", "plain", "full", "driven", "plain"]


@pytest.mark.micropython
def test_the_usb_port_is_written_by_whole_blocks() -> None:
    out = case("usb")
    assert out["read"] == ["abcd", "ef", ""]
    assert out["writes"] == [64, 64, 64]  # a message of 100 + 12 bytes and one of 1 + 12, filled up
    assert out["full"] == [0, 1, 0]


@pytest.mark.micropython
def test_the_polled_source_keeps_to_its_grid() -> None:
    out = case("polled")
    assert out["got"] == [
        [0, wire.FLAG_SPLICE],
        *([ms, 0] for ms in range(10, 60, 10)),
        [120, wire.FLAG_SPLICE],
        [130, 0],
    ]
    assert out["gaps"] == [[117, 6, wire.GAP_DMA_LATE]]
    assert out["seen"] == [37 * n & 0xFFF for n in range(1, 13)]
    last = [37 * n & 0xFFF for n in range(7 * 12 + 1, 8 * 12 + 1)]
    assert out["sum"] == sum(last[::3])
    assert out["hz"] == 1200


@pytest.mark.micropython
def test_any_other_board_is_polled() -> None:
    out = case("polled_rig")
    hello = out["hello"]
    assert (hello["build"], hello["hookups"], hello["uid"]) == ("plain", ["powered"], "01ab")
    assert (hello["window"], hello["conversion_hz"]) == (16, 4800)
    assert hello["reset_cause"] == "watchdog"
    assert [text.split(":")[0] for text in hello["limits"]] == [
        "converts 16 times each channel every 10 ms and is blind in between",
        "switches nothing",
    ]
    expected = b"".join(struct.pack("<IHH", 16 * gpio, gpio, gpio) for gpio in (32, 33, 34))
    assert bytes(out["record"]) == expected


@pytest.mark.micropython
def test_native_loops_agree_with_the_plain_ones() -> None:
    out = case("loops")
    assert out["native"]
    assert len(out["agree"]) == 8 * (2 + 6 + 1 + 2 * 5)
    assert all(out["agree"])


@pytest.mark.micropython
def test_native_stuffing_agrees_with_the_plain_one() -> None:
    assert case("stuffing") == {"wrong": [], "native": True}
