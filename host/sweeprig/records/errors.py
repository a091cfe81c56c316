"""What can go wrong with the records database, each with its next step. All leave with the status of RecordsError."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sweeprig.errors import RecordsError
from sweeprig.link.clean import hide_passwords

if TYPE_CHECKING:
    from sqlalchemy.exc import DBAPIError


class RecordsUrlError(RecordsError):
    """The place named is neither a file nor a URL that is understood."""


class RecordsMissingError(RecordsError):
    """There is no database at the place named, or its folder cannot be used."""


class RecordsUnreachableError(RecordsError):
    """The database server does not answer or does not let this user in."""


class RecordsLockedError(RecordsError):
    """Another program holds the database for longer than we wait."""


class RecordsNewerError(RecordsError):
    """A newer version of this program made the database."""


class RecordsDamagedError(RecordsError):
    """The file is no database, or a damaged one."""


class RecordsForeignError(RecordsError):
    """The database is another program's."""


class RecordsWriteError(RecordsError):
    """The database cannot be written: read-only, no space, no rights."""


class RecordsDriverError(RecordsError):
    """The library for this kind of database is not installed."""


class NoRecordError(RecordsError):
    """No record fits what was asked for."""


_LOCKED = (
    "database is locked", "database table is locked", "lock timeout", "statement timeout", "deadlock",
    "could not serialize", "too many clients", "remaining connection slots", "database system is starting up",
    "server closed the connection", "terminating connection",
)  # fmt: skip
_DAMAGED = ("not a database", "malformed", "file is encrypted")
_MISSING = ("unable to open",)
_READ_ONLY = ("readonly", "read-only", "permission denied for")
_NO_SPACE = ("disk is full", "no space left")
_DISK = ("disk i/o error",)


def _first_line(exc: DBAPIError) -> str:
    lines = str(exc.orig).strip().splitlines()
    return hide_passwords(lines[0].strip().rstrip(".")) if lines else type(exc.orig).__name__


def explain(exc: DBAPIError, where: str) -> RecordsError:
    """Return our own error for one of a database driver. `where` names the database without its password."""
    seen = _first_line(exc)
    text = str(exc.orig).lower()
    if any(word in text for word in _LOCKED):
        return RecordsLockedError(
            f"The records at {where} are held by another program.",
            seen=seen,
            next_step="wait until it finishes and repeat; the capture is safe in its file",
        )
    if any(word in text for word in _DAMAGED):
        return _damaged(where, seen)
    if any(word in text for word in _READ_ONLY):
        return only_read(where, seen)
    if any(word in text for word in (*_NO_SPACE, *_DISK)):
        step = (
            "free some space"
            if any(word in text for word in _NO_SPACE)
            else "free some space or check the disk"
        )
        return _not_written(where, seen, step)
    if any(word in text for word in _MISSING):
        return RecordsMissingError(
            f"The records at {where} cannot be opened.",
            seen=seen,
            next_step="check that the folder exists and is writable",
        )
    return _server_error(exc, where, seen)


def only_read(where: str, seen: str) -> RecordsWriteError:
    """Return the error for records that can be read and not written; `seen` says why."""
    return _not_written(where, seen, "correct the permissions")


def _not_written(where: str, seen: str, step: str) -> RecordsWriteError:
    return RecordsWriteError(
        f"The records at {where} cannot be written.",
        seen=seen,
        next_step=f"{step}, or name another location: sweeprig config set records_url URL",
    )


def _damaged(where: str, seen: str) -> RecordsDamagedError:
    return RecordsDamagedError(
        f"The records at {where} cannot be read as a database.",
        seen=seen,
        next_step="move the file away; a new one is made, and `records add` takes the captures in again",
    )


def _server_error(exc: DBAPIError, where: str, seen: str) -> RecordsError:
    if type(exc).__name__ in ("OperationalError", "InterfaceError"):
        return RecordsUnreachableError(
            f"The records at {where} cannot be reached.",
            seen=seen,
            next_step="check server, network, name and password; the capture is safe in its file",
        )
    return RecordsError(
        f"The database at {where} rejects the request.",
        seen=seen,
        next_step="repeat; if it happens again, keep the message",
    )


@contextmanager
def as_records_error(where: str) -> Iterator[None]:
    """Turn a driver's errors inside the block into ours."""
    from sqlalchemy import exc as sa

    try:
        yield
    except sa.DBAPIError as exc:
        raise explain(exc, where) from exc
    except UnicodeDecodeError as exc:  # names of tables, in SQLite's own message
        raise _damaged(where, str(exc)) from exc
    except sa.TimeoutError as exc:
        raise RecordsUnreachableError(
            f"The records at {where} do not answer.", seen=str(exc), next_step="check the server"
        ) from exc
