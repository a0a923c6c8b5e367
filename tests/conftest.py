"""Marks every test by the folder it stands in, tests/unit -> unit, and keeps what docs/validation.md is written from."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings
from validation_hooks import CASE, SECTION, ValidationPage, case_from, record
from validation_page import KINDS, Case, Section, check_section, fault_of

TESTS = Path(__file__).resolve().parent
FOLDERS = ("unit", "property", "reference", "regression", "browser")

settings.register_profile("ci", derandomize=True, print_blob=True)
if os.environ.get("CI"):
    # the same examples in every run of one tree: what is submitted was seen to pass; elsewhere they are drawn anew
    settings.load_profile("ci")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        folder = item.path.relative_to(TESTS).parts[0] if item.path.is_relative_to(TESTS) else ""
        if folder not in FOLDERS:
            raise pytest.UsageError(f"{item.path.name} must stand in one of tests/{{{','.join(FOLDERS)}}}")
        item.add_marker(getattr(pytest.mark, folder))
    # files with long work first, so that no worker is left alone with them at the end
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--write-validation",
        action="store_true",
        help="write docs/validation.md from what the reference tests record, instead of holding it against them",
    )
    parser.addoption("--whole", action="store_true", help="do the long studies whole, not only a part of each")


def pytest_configure(config: pytest.Config) -> None:
    page = TESTS.parent / "docs" / "validation.md"
    config.pluginmanager.register(ValidationPage(config, TESTS / "reference", page), "validation page")


@pytest.fixture
def whole(request: pytest.FixtureRequest) -> bool:
    """Whether the long studies are to be done whole."""
    return bool(request.config.getoption("whole"))


@pytest.fixture
def record_case(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Check a computed value against one from outside and keep the row for docs/validation.md, bad or good."""

    def check(
        case: str,
        source: str,
        published: float | tuple[float, float],
        computed: float,
        tolerance: float,
        unit: str = "",
        kind: str = "READ",
        *,
        known_miss: str = "",
        missed_by: float = 0.0,
    ) -> None:
        """Record one case.

        Parameters
        ----------
        case, source, kind : str
            What is compared; author, year, table; a key of `validation_page.KINDS`.
        published : float or (float, float)
            Value, or the ends of a published range.
        computed, tolerance : float
            Tolerance as a share of what is published; 0 with a range asks for a value inside.
        unit : str, optional
        known_miss : str, optional
            Why the case is off by more than its tolerance. The page then shows it as bad with these words, and the
            test fails once it is no longer off by ``missed_by``.
        missed_by : float, optional
            Stated error of a known miss, computed less published as a share of the published value, with its sign.
        """
        assert kind in KINDS, f"kind must be one of {', '.join(KINDS)}, not {kind}"
        assert bool(known_miss) == bool(missed_by), "known_miss and missed_by go together"
        low, high = published if isinstance(published, tuple) else (published, published)
        row = Case(
            **case_from(request, case, source, kind),
            low=float(low),
            high=float(high),
            computed=float(computed),
            tolerance=float(tolerance),
            unit=unit,
            known_miss=known_miss,
            missed_by=float(missed_by),
        )
        record(request, CASE, row)
        fault = fault_of(row)
        assert not fault, fault

    return check


@pytest.fixture
def record_section(request: pytest.FixtureRequest) -> Callable[[str, str], None]:
    """Put a section of the test's own on docs/validation.md: ``record_section(title, markdown)``."""

    def check(title: str, markdown: str) -> None:
        section = Section(title, markdown)
        check_section(section)
        record(request, SECTION, section)

    return check
