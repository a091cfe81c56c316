"""A limit on how long a database server may leave a request without an answer, once it is connected.

The server's own limits (lock_timeout, statement_timeout) do not hold where its process, its disk or the network stands
still, and TCP sees nothing of it: the other machine goes on acknowledging.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Generator
from typing import Any

ANSWER_S = 15.0  # s; own choice, no source: the longest wait for other programs' transactions as well


LOOK_S = 0.1  # s from look to look while nothing comes


def limit_waits(
    connection: Any,
    *,
    limit_s: float = ANSWER_S,
    clock: Callable[[], float] = time.monotonic,
    wait: Callable[..., Any] | None = None,
) -> None:
    """Let each wait of a psycopg connection end after `limit_s` without an answer: its connection is closed then.

    The wait raises psycopg.OperationalError. Ctrl-C closes the connection as well. `wait`: psycopg's own loop over a
    request; its fast one does not come back to the request while nothing is heard.
    """
    from psycopg.waiting import wait_selector

    loop = wait or wait_selector

    def limited_wait(request: Generator[Any, Any, Any], interval: float = LOOK_S) -> Any:
        limited = _limited(request, connection, limit_s, clock)
        try:
            return loop(limited, connection.pgconn.socket, interval)
        except (KeyboardInterrupt, SystemExit):
            connection.pgconn.finish()
            raise

    connection.wait = limited_wait


def _limited(
    request: Generator[Any, Any, Any], connection: Any, limit_s: float, clock: Callable[[], float]
) -> Generator[Any, Any, Any]:
    """Go through a request of psycopg, which is sent 0 from time to time as long as the server says nothing."""
    from psycopg import OperationalError

    heard = clock()
    try:
        wanted = next(request)
        while True:
            ready = yield wanted
            if ready:
                heard = clock()
            elif clock() - heard > limit_s:
                connection.pgconn.finish()
                raise OperationalError(f"no answer from the server within {limit_s:g} s")
            wanted = request.send(ready)
    except StopIteration as end:
        return end.value
