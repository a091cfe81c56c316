"""A PostgreSQL server of our own for tests, from the programs of the system's packages."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Server:
    """A running server. `url` lacks the database's name."""

    port: int
    folder: Path
    prefix: tuple[str, ...]
    programs: Path

    @property
    def url(self) -> str:
        return f"postgresql://postgres@127.0.0.1:{self.port}"

    def ctl(self, *args: str) -> None:
        """Run pg_ctl; PostgreSQL refuses to run as root, so root steps down to its user."""
        command = [*self.prefix, str(self.programs / "pg_ctl"), "-D", str(self.folder / "data"), *args]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd="/")

    def start(self) -> None:
        # -F: no fsync; these tests kill programs, not the computer
        options = f"-F -p {self.port} -c listen_addresses=127.0.0.1 -k {self.folder}"
        self.ctl("-w", "-l", str(self.folder / "log"), "-o", options, "start")

    def stop(self) -> None:
        self.ctl("-w", "-m", "immediate", "stop")

    def new_database(self, name: str) -> str:
        """Make an empty database; return its URL."""
        import psycopg

        with psycopg.connect(f"{self.url}/postgres", autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{name}"')  # type: ignore[arg-type]
        return f"{self.url}/{name}"


def _free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def _programs() -> Path:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return (found[-1] if found else Path(shutil.which("initdb") or "initdb")).parent


@contextmanager
def running() -> Iterator[Server]:
    """Start a server on a free port with a data folder of its own; stop it and remove the folder."""
    folder = Path(tempfile.mkdtemp(prefix="sweeprig-pg-"))
    prefix: tuple[str, ...] = ()
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
        prefix = ("setpriv", "--reuid=postgres", "--regid=postgres", "--init-groups")
    server = Server(_free_port(), folder, prefix, _programs())
    try:
        initdb = [
            str(server.programs / "initdb"),
            "-A",
            "trust",
            "-U",
            "postgres",
            "-E",
            "UTF8",
            "--locale=C",
        ]
        command = [*prefix, *initdb, "--no-sync", "-D", str(folder / "data")]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd="/")
        server.start()
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
