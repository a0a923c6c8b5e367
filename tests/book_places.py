"""Places to test a book at: a folder, and a database on a private PostgreSQL started for the tests."""

from __future__ import annotations

import itertools
import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from clackwork.book import Book, open_book

PLACES = ("sqlite", "postgresql")
MISSING = "PostgreSQL cannot be tested here: {why}. On Debian, install the package postgresql."
OTHER_USERS = ("postgres", "nobody")  # PostgreSQL does not run as root
PATIENCE = 30.0  # [s] for the server to answer
_numbers = itertools.count(1)


def postgresql_programs() -> Path | None:
    """Folder of the newest PostgreSQL's programs, None when there is none."""
    folders = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/postgres")]
    found = shutil.which("postgres")
    return max(folders, key=lambda path: int(path.parent.name), default=Path(found).parent if found else None)


def other_user() -> dict[str, Any]:
    """How to start a program as somebody who is not root; empty when this is not root."""
    if os.geteuid() != 0:
        return {}
    import pwd  # not on every system

    for name in OTHER_USERS:
        try:
            found = pwd.getpwnam(name)
        except KeyError:
            continue
        return {"user": found.pw_uid, "group": found.pw_gid, "extra_groups": []}
    raise LookupError("there is no user but root to run it")


class PrivatePostgresql:
    """A PostgreSQL of the tests' own in a temporary folder, reached by a socket in it; loses all at the end."""

    def __init__(self, programs: Path, folder: Path) -> None:
        self.folder = folder
        who = other_user()
        folder.chmod(0o700)
        if who:
            os.chown(folder, who["user"], who["group"])
        data = folder / "data"
        how = {"cwd": folder, "stdin": subprocess.DEVNULL, **who}
        asked = ["-U", "clackwork", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync"]
        subprocess.run(
            [programs / "initdb", "-D", data, *asked],
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            **how,
        )
        unsafe = ["-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off"]
        self.process = subprocess.Popen(
            [programs / "postgres", "-D", data, "-k", folder, "-c", "listen_addresses=", *unsafe],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            **how,
        )
        self._wait()

    def _wait(self) -> None:
        until = time.monotonic() + PATIENCE
        while True:
            try:
                self.run("SELECT 1")
                return
            except sa.exc.OperationalError:
                if self.process.poll() is not None or time.monotonic() > until:
                    raise
                time.sleep(0.05)

    def address(self, database: str) -> str:
        """Address of one of its databases."""
        return f"postgresql+psycopg://clackwork@/{database}?host={self.folder}"

    def run(self, statement: str) -> None:
        """Run one statement outside a transaction."""
        engine = sa.create_engine(self.address("postgres"), isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
        with engine.connect() as connection:
            connection.exec_driver_sql(statement)

    def stop(self) -> None:
        """Stop the server and remove its folder."""
        self.process.send_signal(signal.SIGINT)
        try:
            self.process.wait(10.0)
        except subprocess.TimeoutExpired:
            self.process.send_signal(signal.SIGQUIT)
            self.process.wait(10.0)
        shutil.rmtree(self.folder, ignore_errors=True)


@pytest.fixture(scope="session")
def postgresql() -> Iterator[PrivatePostgresql]:
    """A private PostgreSQL, one for each worker of the tests, started when first asked for."""
    programs = postgresql_programs()
    if programs is None:
        pytest.skip(MISSING.format(why="it is not installed"))
    folder = Path(tempfile.mkdtemp(prefix="clackpg"))  # not the tests' own folder: a socket's path is at most 107 long
    try:
        server = PrivatePostgresql(programs, folder)
    except (OSError, LookupError, subprocess.CalledProcessError, sa.exc.OperationalError) as error:
        shutil.rmtree(folder, ignore_errors=True)
        said = getattr(error, "stderr", None) or str(error)
        pytest.skip(MISSING.format(why=" ".join(str(said).split())[:300]))
    yield server
    server.stop()


@pytest.fixture
def postgresql_place(postgresql: PrivatePostgresql) -> Iterator[str]:
    """Address of an empty database."""
    name = f"book{next(_numbers)}"
    postgresql.run(f"CREATE DATABASE {name}")
    yield postgresql.address(name)
    postgresql.run(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=PLACES)
def book_place(request: pytest.FixtureRequest, tmp_path: Path) -> Path | str:
    """An empty place for a book, of each sort in turn."""
    if request.param == "sqlite":
        return tmp_path / "book"
    place: str = request.getfixturevalue("postgresql_place")
    return place


@pytest.fixture
def book(book_place: Path | str) -> Iterator[Book]:
    """An empty book, at a place of each sort in turn."""
    with open_book(book_place) as opened:
        yield opened
