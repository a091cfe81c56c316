"""The supply is switched on after a measurement; one that comes late, as on a busy machine, is waited for."""

from __future__ import annotations

from typing import Any, cast

import pytest

from sweeprig.bench.hookup.prepare import FEED_TRIES, power_sensor
from sweeprig.errors import BoardRefusedError
from sweeprig.link.client import RigClient


class Late:
    """A rig that refuses its supply so many times, for the reason given."""

    def __init__(self, times: int, seen: str) -> None:
        self.left, self.seen = times, seen
        self.did: list[str] = []

    def hello(self) -> dict[str, Any]:
        return {"capabilities": ["supply-switch", "burden"]}

    def command(self, what: str, **_: Any) -> dict[str, Any]:
        self.did.append(what)
        if what == "supply" and self.left:
            self.left -= 1
            raise BoardRefusedError("The rig refuses the command supply: no conversion.", seen=self.seen)
        return {}


def fed(rig: Late) -> list[str]:
    power_sensor(cast(RigClient, rig))
    return rig.did


def test_a_late_conversion_is_waited_for() -> None:
    assert fed(Late(3, "not-now")) == ["supply"] * 4 + ["burden"]


@pytest.mark.parametrize(("seen", "tries"), [("refused", 1), ("not-now", FEED_TRIES)])
def test_a_refusal_that_stays_ends_it(seen: str, tries: int) -> None:
    rig = Late(1000, seen)
    with pytest.raises(BoardRefusedError):
        fed(rig)
    assert rig.did == ["supply"] * tries
