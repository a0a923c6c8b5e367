"""Marks every test by the folder it stands in: tests/unit -> unit, and so on."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parent
FOLDERS = ("unit", "property", "reference", "regression", "browser")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        folder = item.path.relative_to(TESTS).parts[0] if item.path.is_relative_to(TESTS) else ""
        if folder not in FOLDERS:
            raise pytest.UsageError(f"{item.path.name} must stand in one of tests/{{{','.join(FOLDERS)}}}")
        item.add_marker(getattr(pytest.mark, folder))


CASES: pytest.StashKey[list[dict[str, object]]] = pytest.StashKey()


def pytest_configure(config: pytest.Config) -> None:
    config.stash[CASES] = []


@pytest.fixture
def record_case(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Check a computed value against a published one and keep the row for the validation page.

    Rows, bad ones too, stand in ``config.stash[CASES]`` and, for runs on several workers, in each
    report's ``user_properties``.
    """

    def record(
        case: str,
        source: str,
        published: float,
        computed: float,
        tolerance: float,
        unit: str = "",
        kind: str = "READ",
    ) -> None:
        assert kind in ("READ", "COMP", "MEM")
        good = bool(abs(computed - published) <= tolerance * abs(published))
        row: dict[str, object] = {
            "case": case,
            "source": source,
            "published": float(published),
            "computed": float(computed),
            "tolerance": float(tolerance),
            "unit": unit,
            "kind": kind,
            "good": good,
        }
        request.config.stash[CASES].append(row)
        request.node.user_properties.append(("case", row))
        assert good, f"{case}: {computed:g} against {published:g} {unit} (+-{100 * tolerance:.2g} %), {source}"

    return record
