"""Collects what the reference tests record and writes docs/validation.md, or holds the committed page against it.

Works in one process and with several workers: cases travel in the tests' reports, and each worker tells which tests it
was given. A run of only some of the reference tests says nothing about the page.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import pytest
from validation_page import Case, Section, differences, write_page

CASE, SECTION = "validation_case", "validation_section"  # names of the reports' properties
_TOLD = "reference_tests"  # key of what a worker tells
_LINES_SHOWN = 20
HOW_TO_WRITE = "python -m pytest tests/reference -n 2 --write-validation"


class ValidationPage:
    """State of one session: the reference tests there are, those that ran, and what they recorded.

    Parameters
    ----------
    config : pytest.Config
    folder : Path
        Of the reference tests, inside the root of the project.
    page : Path
        The committed page.
    """

    def __init__(self, config: pytest.Config, folder: Path, page: Path) -> None:
        self.config, self.page = config, page
        self.name = page.relative_to(config.rootpath).as_posix()
        self.prefix = folder.relative_to(config.rootpath).as_posix() + "/"
        self.files = {self.prefix + path.name for path in folder.glob("test_*.py")}
        self.given: list[str] = []
        self.left_out = 0
        self.finished: set[str] = set()
        self.failed: set[str] = set()
        self.recorded: dict[str, list[tuple[str, dict[str, object]]]] = {}
        self.said = ""

    def pytest_deselected(self, items: list[pytest.Item]) -> None:
        self.left_out += sum(item.nodeid.startswith(self.prefix) for item in items)

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        self.given = [item.nodeid for item in session.items if item.nodeid.startswith(self.prefix)]

    @pytest.hookimpl(optionalhook=True)
    def pytest_testnodedown(self, node: object) -> None:
        """Take over what a worker was given; every worker is given the same."""
        told = getattr(node, "workeroutput", {}).get(_TOLD)
        if told is not None:
            self.given, self.left_out = told["given"], told["left_out"]

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if not report.nodeid.startswith(self.prefix):
            return
        if report.failed:
            self.failed.add(report.nodeid)
        if report.when == "teardown":
            self.finished.add(report.nodeid)
            mine = [(name, row) for name, row in report.user_properties if name in (CASE, SECTION)]
            self.recorded[report.nodeid] = mine  # type: ignore[assignment]

    def pytest_sessionfinish(self, session: pytest.Session, exitstatus: int) -> None:
        output = getattr(self.config, "workeroutput", None)
        if output is not None:
            output[_TOLD] = {"given": self.given, "left_out": self.left_out}
            return
        if exitstatus not in (pytest.ExitCode.OK, pytest.ExitCode.TESTS_FAILED):
            return
        try:
            wrong = self._write() if self.config.getoption("write_validation") else self._compare()
        except ValueError as error:
            wrong = f"{error}."
        if wrong:
            session.exitstatus = pytest.ExitCode.TESTS_FAILED
            self._report_failure(wrong)

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        if self.said:
            terminalreporter.section("validation page")
            terminalreporter.line(self.said)

    def missing(self) -> str:
        """Return why this run is not one of the whole reference folder, or "" when it is."""
        if any("::" in argument for argument in self.config.args) or self.config.getoption("lf", False):
            return "tests were picked one by one"
        if self.left_out:
            return f"{self.left_out} reference tests were deselected"
        unseen = self.files - {nodeid.partition("::")[0] for nodeid in self.given}
        if unseen:
            return f"{', '.join(sorted(unseen))} did not run"
        unfinished = set(self.given) - self.finished
        return f"{len(unfinished)} reference tests did not run to their end" if unfinished else ""

    def cases(self) -> list[Case]:
        """What was recorded by `record_case`, in the order of the tests."""
        return [Case(**row) for row in self._rows(CASE)]  # type: ignore[arg-type]

    def sections(self) -> list[Section]:
        """What was recorded by `record_section`, in the order of the tests."""
        return [Section(**row) for row in self._rows(SECTION)]  # type: ignore[arg-type]

    def _rows(self, wanted: str) -> Iterator[dict[str, object]]:
        for nodeid in sorted(self.given, key=lambda one: one.partition("::")[0]):  # whatever the files' turn was
            yield from (row for name, row in self.recorded.get(nodeid, []) if name == wanted)

    def _write(self) -> str:
        """Write the page; return why not when it cannot be."""
        if self.failed:
            return f"{self.name} was not written: {len(self.failed)} reference tests failed."
        cases = self.cases()
        if not cases:
            return f"{self.name} was not written: no reference test recorded a case."
        self.page.write_text(write_page(cases, self.sections()), encoding="utf-8", newline="\n")
        good = sum(case.good for case in cases)
        self.said = f"{self.name} written: {len(cases)} cases, {good} good, {len(cases) - good} bad."
        missing = self.missing()
        if missing:
            self.said += f" It may lack cases: {missing}."
        return ""

    def _compare(self) -> str:
        """Return how the committed page is not what this run found; "" too when the run cannot tell."""
        if self.missing() or self.failed:
            return ""
        cases, sections = self.cases(), self.sections()
        if not cases and not sections:
            return ""
        text = self.page.read_bytes().decode("utf-8") if self.page.exists() else ""
        lines = differences(text, cases, sections)
        if not lines:
            self.said = f"{self.name} is what {len(cases)} cases and {len(sections)} sections of this run found."
            return ""
        more = [f"... and {len(lines) - _LINES_SHOWN} more lines"] if len(lines) > _LINES_SHOWN else []
        state = "is not what this run found" if text else "is not there"
        asked = f"{self.name} {state}. Where that is meant, write it anew: {HOW_TO_WRITE}"
        return "\n".join([asked, *lines[:_LINES_SHOWN], *more])

    def _report_failure(self, wrong: str) -> None:
        """Count and show the page as one more failed test."""
        name = f"{self.name}::page"
        report = pytest.TestReport(
            nodeid=name, location=(self.name, 0, name), keywords={}, outcome="failed", longrepr=wrong, when="call"
        )
        self.config.hook.pytest_runtest_logreport(report=report)


def case_from(request: pytest.FixtureRequest, case: str, source: str, kind: str) -> dict[str, str]:
    """Return the part, case, source and kind of a recorded row; the part is the test module's ``PART``."""
    named = request.path.stem.removeprefix("test_").removesuffix("_reference").replace("_", " ").capitalize()
    part = str(getattr(request.module, "PART", named))
    return {"part": part, "case": case, "source": source, "kind": kind}


def record(request: pytest.FixtureRequest, name: str, row: Case | Section) -> None:
    """Hang a row on its test's report, as plain values that travel between processes."""
    request.node.user_properties.append((name, asdict(row)))
