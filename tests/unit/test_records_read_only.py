"""Records in a file or folder that cannot be written: they are read as ever, and a write says what is in the way."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from support import outcomes
from sweeprig.records import migrate
from sweeprig.records.engine import FILE_NAME
from sweeprig.records.errors import RecordsNewerError, RecordsWriteError
from sweeprig.records.store import open_store

NOBODY = 65534
FILE, FOLDER, BOTH = (0o444, 0o777), (0o666, 0o555), (0o444, 0o555)
pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs permissions of files")


@contextmanager
def without_rights() -> Iterator[None]:
    """Be nobody where the tests run as root, for whom no file is read-only."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def place() -> Iterator[Path]:
    """Return a folder that nobody may enter, with one record; what is imported late has been imported once."""
    with tempfile.TemporaryDirectory(prefix="records ro ") as name:
        folder = Path(name)
        with open_store(folder) as store:
            store.add(outcomes.outcome(), Path("a.sweep"))
            store.amend(1, {"job": "77"}, by="R. Invented", at="2031-03-04T10:15:00+00:00")
            store.find(full=True)
        yield folder
        folder.chmod(0o755)


def lock(folder: Path, rights: tuple[int, int]) -> None:
    file = folder / FILE_NAME
    file.chmod(rights[0])
    folder.chmod(rights[1])


@pytest.mark.parametrize("rights", [FILE, FOLDER, BOTH])
def test_records_that_cannot_be_written_are_read(place: Path, rights: tuple[int, int]) -> None:
    lock(place, rights)
    with without_rights(), open_store(place, create=False) as store:
        (found,) = store.find(full=True)
        assert found.job == "77"
        assert [a.by for a in store.amendments(found.id)] == ["R. Invented"]
    assert [p.name for p in place.iterdir()] == [FILE_NAME], "nothing is left beside the file"


@pytest.mark.parametrize("rights", [FILE, FOLDER, BOTH])
def test_what_another_program_has_just_written_is_read_too(place: Path, rights: tuple[int, int]) -> None:
    """It is not in the file yet, but in the log beside it."""
    with sqlite3.connect(place / FILE_NAME) as other:
        other.execute("PRAGMA wal_autocheckpoint=0")
        other.execute("UPDATE jobs SET name = '78' WHERE name = '77'")
        other.commit()
        lock(place, rights)
        with without_rights(), open_store(place, create=False) as store:
            assert store.find()[0].job == "78"
    other.close()


@pytest.mark.parametrize(
    ("rights", "seen"), [(FILE, "the file is read-only"), (FOLDER, "its folder {} is read-only")]
)
def test_a_write_says_what_is_in_the_way(place: Path, rights: tuple[int, int], seen: str) -> None:
    lock(place, rights)
    with without_rights():
        with open_store(place, create=False) as store, pytest.raises(RecordsWriteError) as amended:
            store.amend(1, {"job": "79"}, by="R. Invented", at="2031-03-04T10:15:00+00:00")
        with pytest.raises(RecordsWriteError) as added, open_store(place):
            pass
    for raised in (amended.value, added.value):
        assert raised.seen == seen.format(place)
        assert "correct the permissions, or name another location" in raised.next_step
        assert "space" not in str(raised)


@pytest.mark.parametrize(
    ("version", "error", "said"),
    [("0004", RecordsWriteError, "older version"), ("9999", RecordsNewerError, "newer version")],
)
def test_records_of_another_version_are_named_as_such(
    place: Path, version: str, error: type[Exception], said: str
) -> None:
    with sqlite3.connect(place / FILE_NAME) as other:
        other.execute("UPDATE alembic_version SET version_num = ?", (version,))
    other.close()
    lock(place, FOLDER)
    migrate._check_known(migrate.HEAD, "")  # imports what it needs
    with without_rights(), pytest.raises(error, match=said), open_store(place, create=False):
        pass
