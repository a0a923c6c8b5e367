"""What every command shares: exits, progress on the error stream, printing."""

from __future__ import annotations

import functools
import json
import os
import sys
import threading
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import Enum
from pathlib import Path
from typing import Any, ParamSpec

import typer

from clackwork.errors import ClackworkError

Arguments = ParamSpec("Arguments")

EXIT_FAILED = 2
EXIT_UNEXPECTED = 70
EXIT_STOPPED = 130
DEBUG_VARIABLE = "CLACKWORK_DEBUG"
PATIENCE = 2.0
"""Seconds of work before a progress bar shows."""


class Units(str, Enum):  # noqa: UP042  (typer reads members of str enums)
    """The two systems of units."""

    metric = "metric"
    us = "us"


class Paper(str, Enum):  # noqa: UP042
    """The two papers."""

    a4 = "a4"
    letter = "letter"


def say(line: str) -> None:
    """One line on the error stream."""
    print(line, file=sys.stderr, flush=True)


def show_lines(lines: list[str]) -> None:
    """Lines of an answer on the output, folded to the width of a terminal."""
    import shutil
    import textwrap

    width = max(60, min(shutil.get_terminal_size((100, 24)).columns, 110))
    for line in lines:
        indent = line[: len(line) - len(line.lstrip())]
        folded = textwrap.wrap(
            line.strip(), width, initial_indent=indent, subsequent_indent=f"{indent}  ", break_on_hyphens=False
        )
        print("\n".join(folded) if folded else "")


def json_text(data: dict[str, Any]) -> str:
    """Data as JSON text; refuses what JSON cannot hold."""
    return json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False)


def write_text(path: Path, text: str) -> None:
    """Write a whole file or none of it.

    Raises
    ------
    ClackworkError
        The file cannot be written.
    """
    part = path.with_name(f"{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(text, encoding="utf-8", newline="\n")
        os.replace(part, path)
    except OSError as error:
        raise ClackworkError(f"{path} cannot be written: {error.strerror or error}.") from error


@contextmanager
def progress_bar(words: str) -> Iterator[Callable[[int, int], None]]:
    """A callable for (done, all); a bar shows on the error stream once the work has lasted two seconds."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    bar = Progress(*columns, console=console, transient=True, disable=not console.is_terminal)
    task = bar.add_task(words, total=None)
    timer = threading.Timer(PATIENCE, bar.start)
    timer.daemon = True
    timer.start()

    def report(done: int, total: int) -> None:
        bar.update(task, completed=done, total=total)

    try:
        yield report
    finally:
        timer.cancel()
        timer.join()
        bar.stop()


def guarded(command: Callable[Arguments, None]) -> Callable[Arguments, None]:
    """End a command with a sentence and a code, never a traceback."""

    @functools.wraps(command)
    def run(*args: Arguments.args, **kwargs: Arguments.kwargs) -> None:
        try:
            command(*args, **kwargs)
        except typer.Exit:
            raise
        except KeyboardInterrupt:
            say("Stopped; what was finished by then is kept.")
            raise typer.Exit(EXIT_STOPPED) from None
        except ClackworkError as error:
            _details()
            say(str(error))
            raise typer.Exit(EXIT_FAILED) from None
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise typer.Exit(1) from None
        except Exception as error:
            _details()
            say(
                f"Something went wrong that should not have ({type(error).__name__}). Set "
                f"{DEBUG_VARIABLE}=1 and run it "
                "again to see the details."
            )
            raise typer.Exit(EXIT_UNEXPECTED) from None

    return run


def _details() -> None:
    """The traceback, for who asked for it."""
    if os.environ.get(DEBUG_VARIABLE, "") not in ("", "0"):
        traceback.print_exc()
