"""The server as a program: ports, its second door, an end that is clean, and a key that stays."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import httpx
import pytest
from typer.testing import CliRunner

from clackwork import cli
from clackwork.errors import ClackworkError
from clackwork.web.serve import listen, opener_of
from clackwork.web.settings import settings_for
from clackwork.web.sharing import CannotShare, Sharing

ROOT = Path(__file__).resolve().parents[2]


class Program:
    """The server run as a person runs it."""

    def __init__(self, *arguments: str) -> None:
        command = [sys.executable, "-m", "clackwork", "serve", *arguments]
        self.process = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.said: list[str] = []

    def url(self) -> str:
        """Its address, once it is said."""
        assert self.process.stdout
        for line in self.process.stdout:
            self.said.append(line)
            if "Ctrl-C" in line:
                break
        found = re.search(r"Clackwork is at (\S+)", "".join(self.said))
        assert found, self.said
        return found[1]

    def end(self, sign: int) -> tuple[int, float]:
        """Exit code and time taken after a signal."""
        began = time.monotonic()
        self.process.send_signal(sign)
        return self.process.wait(timeout=10), time.monotonic() - began


@pytest.fixture
def taken() -> Iterator[int]:
    """A port that is taken."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        one.listen(1)
        yield one.getsockname()[1]


@pytest.mark.skipif(os.name == "nt", reason="signals of this kind are not sent there")
@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
def test_it_says_where_it_is_and_ends_cleanly(tmp_path: Path, taken: int, sign: int) -> None:
    program = Program(str(tmp_path / "book"), "--port", str(taken))
    try:
        url = program.url()
        assert f"Port {taken} is taken." in "".join(program.said) and f":{taken}/" not in url
        assert httpx.get(url).status_code == 200
        code, spent = program.end(sign)
    finally:
        program.process.kill()
    assert code == 0 and spent < 5.0
    assert program.process.stderr and program.process.stderr.read() == ""


def run_start(monkeypatch: pytest.MonkeyPatch, arguments: list[str], demo: int = 0) -> tuple[int, list[list[str]]]:
    """What start.py returns and runs with a set-up that stands and a demonstration that ends with a code."""
    import importlib.util

    spec = importlib.util.spec_from_file_location("start", ROOT / "start.py")
    assert spec and spec.loader
    start = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(start)
    ran: list[list[str]] = []
    setup = SimpleNamespace(
        ensure_environment=lambda lock: Path("python"),
        warm_kernel=lambda: None,
        RUN_LOCK="",
        ROOT=ROOT,
        SetupError=RuntimeError,
        say=print,
        clean_variables=dict,
    )

    def call(command: list[str], **_: object) -> int:
        ran.append(command)
        return demo

    def hand_over(program: str, command: list[str], variables: object) -> None:
        ran.append(command)
        raise SystemExit(0)  # the process is the server's from here on

    monkeypatch.setitem(sys.modules, "setup_env", setup)  # type: ignore[arg-type]
    monkeypatch.setattr(start, "subprocess", SimpleNamespace(call=call))
    monkeypatch.setattr(start.os, "execve", hand_over)
    monkeypatch.setattr(start.os, "chdir", lambda folder: None)
    monkeypatch.setattr(sys, "argv", ["start.py", *arguments])
    try:
        return start.main(), ran
    except SystemExit as ended:
        return int(str(ended.code)), ran


@pytest.mark.skipif(os.name == "nt", reason="there the server is a process below")
def test_the_start_ends_in_the_page(monkeypatch: pytest.MonkeyPatch) -> None:
    code, ran = run_start(monkeypatch, ["--book", "here", "--port", "9000"])
    assert ran[0][2:4] == ["clackwork", "demo"] and code == 0
    assert ran[1] == ["python", "-m", "clackwork", "serve", os.path.abspath("here"), "--port", "9000"]


@pytest.mark.parametrize(("arguments", "demo"), [(["--no-serve"], 0), ([], 2)])
def test_no_page_is_served_when_told_not_to_or_after_a_failure(
    monkeypatch: pytest.MonkeyPatch, arguments: list[str], demo: int
) -> None:
    code, ran = run_start(monkeypatch, arguments, demo)
    assert code == demo and [command[3] for command in ran] == ["demo"]


def test_another_address_without_sharing_is_refused(tmp_path: Path) -> None:
    result = CliRunner().invoke(cli.app, ["serve", str(tmp_path / "b"), "--host", "192.0.2.1"])
    assert result.exit_code == 2 and "Add --share" in result.stderr


def test_a_file_in_place_of_a_folder_is_said(tmp_path: Path) -> None:
    (tmp_path / "book").write_text("a letter")
    result = CliRunner().invoke(cli.app, ["serve", str(tmp_path / "book")])
    assert result.exit_code == 2 and "is a file" in result.stderr


def test_a_second_door_opens_and_closes() -> None:
    """On a second loopback address, so that nothing is open to a network."""
    from starlette.applications import Starlette
    from starlette.responses import PlainTextResponse
    from starlette.routing import Route

    app = Starlette(routes=[Route("/", lambda request: PlainTextResponse("here"))])

    async def go() -> None:
        sharing = Sharing(opener_of(app, 0), "127.0.0.1")  # type: ignore[arg-type]
        door = await sharing.start()
        assert await sharing.start() is door and sharing.names() == {"127.0.0.1"}
        async with httpx.AsyncClient() as client:
            for _ in range(50):
                with pytest.MonkeyPatch.context():
                    try:
                        assert (await client.get(door.url)).text == "here"
                        break
                    except httpx.ConnectError:
                        await asyncio.sleep(0.05)
            else:
                pytest.fail("the door did not open")
            await sharing.stop()
            assert not sharing.on and sharing.names() == frozenset()
            with pytest.raises(httpx.ConnectError):
                await client.get(door.url)

    asyncio.run(go())


def test_an_address_of_another_machine_cannot_be_shared_on() -> None:
    sharing = Sharing(opener_of(None, 0), "192.0.2.1")  # type: ignore[arg-type]
    with pytest.raises(CannotShare, match="name another"):
        asyncio.run(sharing.start())


def test_a_taken_port_is_passed_over_or_said(taken: int) -> None:
    with listen("127.0.0.1", taken, tries=5) as other:
        assert other.getsockname()[1] != taken
    with pytest.raises(OSError, match="in use"):
        listen("127.0.0.1", taken)


def test_the_key_stays_and_only_its_owner_reads_it(tmp_path: Path) -> None:
    first, second = (settings_for(str(tmp_path / "book")) for _ in range(2))
    assert first.secret == second.secret and len(first.secret) == 32
    assert first.secret.hex() not in repr(first) and first.demo_place == tmp_path / "book-demo"
    if os.name != "nt":
        assert stat.S_IMODE((tmp_path / "book" / "web-key").stat().st_mode) == 0o600


def test_without_a_folder_the_user_s_own_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert settings_for(None).place == tmp_path / "clackwork" / "book"


@pytest.mark.skipif(not hasattr(os, "getuid") or os.getuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(ClackworkError, match="Name another"):
        settings_for(str(tmp_path / "book"))
