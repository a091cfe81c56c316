"""What every error of ours owes its reader; for the tests of hostile input."""

from __future__ import annotations

from sweeprig.errors import SweeprigError


def says_all(error: SweeprigError) -> None:
    """An error of ours says what failed, what it saw and what to do, in few words that any file can hold."""
    assert error.what
    assert error.seen
    assert error.next_step
    assert len(str(error)) < 1500
    str(error).encode()
