"""Who may open the page: checks host and origin of a request and the key of this run, and limits wrong tries."""

from __future__ import annotations

import hmac
import secrets
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from ipaddress import ip_address

WRONG_MOST = 5  # wrong keys of one address ...
WRONG_S = 60.0  # [s] ... in this time; then it waits
ASKED_PER_S = 40.0  # requests of one address, on average ...
ASKED_BURST = 120.0  # ... and at once; a page needs five
ADDRESSES = 512  # remembered at a time


@dataclass
class Bucket:
    """A token bucket: so many requests at once, so many more a second."""

    burst: float
    per_s: float
    clock: Callable[[], float]
    _left: OrderedDict[str, tuple[float, float]] = field(default_factory=OrderedDict)  # address: (left, when)

    def left(self, address: str) -> float:
        """Return how many requests this address has left."""
        left, when = self._left.get(address, (self.burst, self.clock()))
        return min(self.burst, left + (self.clock() - when) * self.per_s)

    def take(self, address: str) -> bool:
        """Take one; False where none is left."""
        left = self.left(address)
        taken = left >= 1
        self._left[address] = (left - 1 if taken else left, self.clock())
        self._left.move_to_end(address)
        if len(self._left) > ADDRESSES:
            self._left.popitem(last=False)
        return taken


class Door:
    """The key, new in each run, and the limits for wrong keys and for requests."""

    def __init__(self, *, key: str = "", clock: Callable[[], float] = time.monotonic) -> None:
        self.key = key or secrets.token_urlsafe(18)
        self._wrong = Bucket(WRONG_MOST, WRONG_MOST / WRONG_S, clock)
        self._asked = Bucket(ASKED_BURST, ASKED_PER_S, clock)

    def fits(self, key: str, address: str) -> bool | None:
        """Return whether the key fits; None where this address has tried too many wrong ones."""
        if self._wrong.left(address) < 1:
            return None
        if hmac.compare_digest(key.encode("utf-8", "replace"), self.key.encode()):
            return True
        self._wrong.take(address)
        return False

    def too_many(self, address: str) -> bool:
        """Return whether this address asks for more than a page can need."""
        return not self._asked.take(address)

    def host_is_ours(self, host: str, server: tuple[str, int]) -> bool:
        """Return whether the Host header is an address of this machine: a name might be rebound in DNS."""
        name, _, port = host.rpartition(":") if host.count(":") == 1 else (host, "", "80")
        if port != str(server[1]):
            return False
        if name == "localhost":
            return _is_loopback(server[0])
        try:
            return ip_address(name) == ip_address(server[0])
        except ValueError:
            return False


def _is_loopback(address: str) -> bool:
    return ip_address(address).is_loopback


def origin_is_ours(origin: str | None, host: str) -> bool:
    """Return whether an Origin header is that of our own page."""
    return origin == f"http://{host}"
