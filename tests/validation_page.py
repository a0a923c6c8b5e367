"""The page docs/validation.md: its cases, how it is written and how a committed page is held against a run.

Pure functions on text; the hooks that collect the cases are in ``validation_hooks.py``.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

KINDS = {
    "READ": "read in the source",
    "COMP": "computed by a reference library",
    "FORM": "worked from a published formula",
    "MEM": "from memory",
}
# In this order on the page; others follow by their names.
PARTS = (
    "Water and air",
    "Pipes",
    "Hammer",
    "Rigid column and efficiencies",
    "Ram",
    "Delivery pipe",
    "Measuring",
)
COLUMNS = ("case", "source", "published", "computed", "error", "tolerance", "verdict")
SAME_FIGURE = 1e-4  # computed figures this close are the same one, worked out on another machine
MISS_HOLDS = 0.1  # a known miss may change by this share of its stated size
_LEAST_ERROR_SHOWN = 5e-10
_BAD = "**bad**"

TITLE = "# Validation"
ABOUT = """\
Every figure that the tests in `tests/reference` hold against a value from outside the project, good and bad alike. Those
tests write this page, and `check.py` fails when it is not what they find. A value that this project computed never
stands under *published*. The error is computed less published, as a share of the published one; a case is good when the
error is within the tolerance. Where a range is published, the error counts from its nearer end, and is 0 inside. After
each source stands how its value was had: *read in the source*; *computed by a reference library*, one for general use and
not part of what is tested; *worked from a published formula*; or *from memory*, which weighs least."""


@dataclass(frozen=True)
class Case:
    """One computed figure against one from outside.

    Attributes
    ----------
    part : str
        Group on the page.
    case, source, kind : str
        What is compared, with whom (author, year, table), and a key of `KINDS`.
    low, high : float
        Ends of what is published, alike for a single value.
    computed : float
    tolerance : float
        Share of the published value (of the nearer end) by which the computed one may be off.
    unit : str
    known_miss : str
        Why the case is off by more, where it is known to be; else empty.
    missed_by : float
        The error of a known miss as stated beside it.
    """

    part: str
    case: str
    source: str
    kind: str
    low: float
    high: float
    computed: float
    tolerance: float
    unit: str = ""
    known_miss: str = ""
    missed_by: float = 0.0

    @property
    def error(self) -> float:
        """Computed less published over published, with its sign; 0 inside a published range."""
        if self.low <= self.computed <= self.high:
            return 0.0
        nearest = self.low if self.computed < self.low else self.high
        return (self.computed - nearest) / abs(nearest) if nearest else math.copysign(math.inf, self.computed)

    @property
    def good(self) -> bool:
        """Whether the error is within the tolerance."""
        return abs(self.error) <= self.tolerance if math.isfinite(self.computed) else False


@dataclass(frozen=True)
class Section:
    """A part of the page that a test wrote itself."""

    title: str
    body: str


@dataclass(frozen=True)
class CommittedPage:
    """What of a committed page is kept where a run's figures may differ in their last digits.

    Attributes
    ----------
    figures : mapping of (str, str) to (str, str)
        Part and case, as written -> the cells computed and error.
    bodies : mapping of str to str
        Section title -> its text.
    """

    figures: Mapping[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    bodies: Mapping[str, str] = field(default_factory=dict)


def fault_of(case: Case) -> str:
    """Return why a case must fail its test, in a sentence, or "" when it need not.

    A case without a known miss must be good; one with a known miss must be bad by the stated size, so that a note of
    a miss cannot outlive it.
    """
    held = f"{case.case}: {case.computed:g} against {_published(case)}, error {_share(case.error)}"
    if not case.known_miss:
        return "" if case.good else f"{held}, tolerance {_share(case.tolerance)}; {case.source}"
    if case.good:
        return f"{held} is within {_share(case.tolerance)} now; take known_miss away ({case.known_miss})"
    if not abs(case.error - case.missed_by) <= MISS_HOLDS * abs(case.missed_by):
        return f"{held}, but the known miss is said to be {_share(case.missed_by)}; look again ({case.known_miss})"
    return ""


def check_section(section: Section) -> None:
    """Raise `ValueError` when a section would break the page apart."""
    if not section.title.strip() or "\n" in section.title:
        raise ValueError(f"a section's title must be one line, not {section.title!r}")
    if re.search(r"^##? ", section.body, flags=re.MULTILINE):
        raise ValueError(f"headings inside the section {section.title!r} must begin with ### or more")


def write_page(cases: Sequence[Case], sections: Sequence[Section] = (), committed: CommittedPage | None = None) -> str:
    """Return the page's text.

    Parameters
    ----------
    cases : sequence of Case
        Each part and case once; those of a part stay in this order.
    sections : sequence of Section, optional
        Each title once.
    committed : CommittedPage, optional
        Its figures stand where they are the same as the run's to `SAME_FIGURE`, and its section texts always: the page
        as a run wants it, apart from last digits.

    Raises
    ------
    ValueError
        When a case or a title comes twice.
    """
    committed = committed or CommittedPage()
    parts = sorted({case.part for case in cases}, key=lambda part: (_place(part), part))
    _each_once([f"case {case.part}, {case.case}" for case in cases])
    _each_once([f"section {title}" for title in [*parts, *(section.title for section in sections)]])
    blocks = [TITLE, ABOUT, _counts(cases, parts), *_bad_ones(cases)]
    for part in parts:
        rows = [_row(case, committed) for case in cases if case.part == part]
        blocks += [f"## {part}", _table(COLUMNS, rows)]
    for section in sections:
        check_section(section)
        blocks += [f"## {section.title}", committed.bodies.get(section.title, section.body.strip())]
    return "\n\n".join(blocks) + "\n"


def read_page(text: str) -> CommittedPage:
    """Return the figures and the section texts of a page that `write_page` wrote."""
    figures: dict[tuple[str, str], tuple[str, str]] = {}
    bodies: dict[str, str] = {}
    header = _cells(COLUMNS)
    for block in re.split(r"^## ", text, flags=re.MULTILINE)[1:]:
        title, _, body = block.partition("\n")
        bodies[title] = body.strip()
        lines = body.strip().split("\n")
        if lines[0] != header:
            continue
        for line in lines[2:]:
            row = [cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]]
            if len(row) == len(COLUMNS):
                figures[title, row[0]] = (row[3], row[4])
    return CommittedPage(figures, bodies)


def differences(text: str, cases: Sequence[Case], sections: Sequence[Section] = ()) -> list[str]:
    """Return how a committed page differs from what a run wants, as lines with - (page) and + (run); none when alike.

    Everything counts but last digits of computed figures and errors, and what stands under a section's title.
    """
    wanted = write_page(cases, sections, read_page(text))
    compared = difflib.unified_diff(text.splitlines(), wanted.splitlines(), lineterm="", n=0)
    lines = [line for line in compared if not line.startswith(("---", "+++", "@@"))]
    return lines or ([] if text == wanted else ["- line ends or the last line's end"])


def _place(part: str) -> int:
    return PARTS.index(part) if part in PARTS else len(PARTS)


def _each_once(names: Iterable[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise ValueError(f"{name} comes twice on the validation page; give one of them another name")
        seen.add(name)


def _figure(value: float) -> str:
    """Six digits, without an exponent where a reader would not expect one."""
    short = f"{value:.6g}"
    return f"{value:.0f}" if "e+" in short and abs(value) < 1e9 else short


def _share(value: float) -> str:
    return f"{100.0 * value:.3g} %" if not abs(value) < _LEAST_ERROR_SHOWN else "0 %"


def _with_unit(text: str, unit: str) -> str:
    return f"{text} {unit}".strip()


def _published(case: Case) -> str:
    ends = [case.low] if case.low == case.high else [case.low, case.high]
    return _with_unit(" to ".join(_figure(end) for end in ends), case.unit)


def _verdict(case: Case) -> str:
    if case.good:
        return "good"
    return f"{_BAD}: {case.known_miss}" if case.known_miss else _BAD


def _number(cell: str) -> float:
    try:
        return float(cell.split()[0])
    except (IndexError, ValueError):
        return math.nan


def _figures(case: Case, committed: CommittedPage) -> tuple[str, str]:
    """The cells computed and error: as committed where those are the same figures, else the run's."""
    mine = (_with_unit(_figure(case.computed), case.unit), _share(case.error))
    theirs = committed.figures.get((case.part, _escaped(case.case)))
    if theirs is None or theirs[0].split()[1:] != mine[0].split()[1:] or not theirs[1].endswith(" %"):
        return mine
    computed, error = _number(theirs[0]), _number(theirs[1]) / 100.0
    same = abs(computed - case.computed) <= SAME_FIGURE * max(abs(computed), abs(case.computed))
    # The error moves by as much as the computed figure, and is written to three digits.
    same_error = abs(error - case.error) <= 2.0 * SAME_FIGURE + 0.01 * abs(case.error)
    return theirs if same and same_error else mine


def _row(case: Case, committed: CommittedPage) -> list[str]:
    band = case.low != case.high and case.tolerance == 0.0
    tolerance = "inside" if band else f"{100.0 * case.tolerance:.3g} %"
    source = f"{case.source} ({KINDS[case.kind]})"
    return [case.case, source, _published(case), *_figures(case, committed), tolerance, _verdict(case)]


def _escaped(cell: str) -> str:
    return re.sub(r"(?<!\\)\|", r"\|", cell.strip())


def _cells(row: Iterable[str]) -> str:
    return "| " + " | ".join(_escaped(cell) for cell in row) + " |"


def _table(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    return "\n".join([_cells(columns), "|" + "---|" * len(columns), *(_cells(row) for row in rows)])


def _counts(cases: Sequence[Case], parts: Sequence[str]) -> str:
    rows = []
    for part in parts:
        good = [case.good for case in cases if case.part == part]
        rows.append([part, str(len(good)), str(sum(good)), str(len(good) - sum(good))])
    good_ones = sum(case.good for case in cases)
    said = f"**{len(cases)} cases: {good_ones} good, {len(cases) - good_ones} bad.**"
    return f"{said}\n\n{_table(('part', 'cases', 'good', 'bad'), rows)}"


def _bad_ones(cases: Sequence[Case]) -> list[str]:
    """The bad cases once more, for a reader who stops at the head of the page."""
    bad = [case for case in cases if not case.good]
    if not bad:
        return []
    lines = [f"* {case.part}, {case.case}: {case.known_miss or 'not explained'}" for case in bad]
    return ["The bad ones:", "\n".join(lines)]
