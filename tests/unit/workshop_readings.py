"""Readings of the embedded workshop by run and key: the tests hold when its readings are made anew."""

from __future__ import annotations

import re
from importlib.resources import files

WORKSHOP = (files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8")


def _from_name_to_line(run: str, key: str) -> str:
    """The text of a run from its name to the line of a key."""
    found = re.search(rf'^name = "{re.escape(run)}"\n(?:.+\n)*?{key} = .+$', WORKSHOP, flags=re.MULTILINE)
    assert found is not None, f"run {run} has no {key}"
    return found[0]


def reading(run: str, key: str) -> str:
    """What a run has at a key, without quotes: "19.5 L"."""
    return _from_name_to_line(run, key).rsplit(" = ", 1)[1].strip('"')


def retyped(run: str, key: str, lines: str) -> tuple[str, str]:
    """Text of the workshop, and the same with other lines in the place of a run's key."""
    old = _from_name_to_line(run, key)
    return old, "\n".join([*old.splitlines()[:-1], lines])
