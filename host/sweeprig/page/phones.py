"""The phones that have been let in, and which of them leads: only that one has keys; OFF is for all."""

from __future__ import annotations

import secrets
import threading
from dataclasses import dataclass

MOST = 32  # let in at a time; the longest unseen one goes


@dataclass
class Phone:
    """One browser that holds a cookie of ours."""

    name: str
    streams: int = 0  # pages of it that are open now


@dataclass(frozen=True)
class Lead:
    """Who leads, as shown to one phone."""

    you: str
    leader: str  # "" where nobody does
    leads: bool
    free: bool  # whether the lead can be taken


class Phones:
    """Phones by cookie. The first to open the live page leads; another may take it when it is given up or left."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._known: dict[str, Phone] = {}
        self._leader = ""
        self._count = 0
        self.version = 0  # changes with everything that a phone is told

    def let_in(self) -> str:
        """Return the cookie of a new phone."""
        with self._lock:
            if len(self._known) >= MOST:
                unseen = [c for c, p in self._known.items() if not p.streams and c != self._leader]
                self._known.pop((unseen or list(self._known))[0])
            self._count += 1
            cookie = secrets.token_urlsafe(24)
            self._known[cookie] = Phone(f"phone {self._count}")
            return cookie

    def knows(self, cookie: str) -> bool:
        """Return whether this is the cookie of one let in."""
        with self._lock:
            return cookie in self._known

    @property
    def anybody(self) -> bool:
        """Whether a live page is open anywhere."""
        with self._lock:
            return any(p.streams for p in self._known.values())

    def leads(self, cookie: str) -> bool:
        """Return whether this phone leads."""
        with self._lock:
            return bool(cookie) and cookie == self._leader

    def opened(self, cookie: str) -> None:
        """Note a live page of this phone; the first of all leads."""
        with self._lock:
            if cookie in self._known:
                self._known[cookie].streams += 1
                self._leader = self._leader or cookie
                self.version += 1

    def closed(self, cookie: str) -> None:
        """Note that a live page of this phone was closed."""
        with self._lock:
            if cookie in self._known:
                self._known[cookie].streams -= 1
                self.version += 1

    def take(self, cookie: str) -> str:
        """Make this phone the leader; return why not, or ""."""
        with self._lock:
            if cookie not in self._known:
                return "This phone is not known any more. Open the address again."
            if not self._free() and self._leader != cookie:
                return f"{self._known[self._leader].name} leads and is there. It can hand over the lead."
            self._leader = cookie
            self.version += 1
            return ""

    def give(self, cookie: str) -> str:
        """Give up the lead; any phone may take it."""
        with self._lock:
            if cookie != self._leader:
                return "Only the phone that leads can hand over."
            self._leader = ""
            self.version += 1
            return ""

    def lead_of(self, cookie: str) -> Lead:
        """Return what this phone is told."""
        with self._lock:
            you, leader = self._known.get(cookie), self._known.get(self._leader)
            return Lead(
                you.name if you else "", leader.name if leader else "", cookie == self._leader, self._free()
            )

    def _free(self) -> bool:
        leader = self._known.get(self._leader)
        return leader is None or leader.streams <= 0
