"""Every word in a public name of the physics, bench, engine, twin and site modules is in docs/glossary.md.

Names are those of functions, classes, methods, class fields and constants that do not begin with an
underscore, read from the sources as they stand. A name is split at underscores, capitals and digits.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "clackwork"
COVERED = (
    "water.py",
    "pipes.py",
    "hammer.py",
    "rigid.py",
    "bench/*.py",
    "ram/*.py",
    "twin/*.py",
    "site/*.py",
    "life/*.py",
)
PLAIN_WORDS_HEADING = "## Plain words"


def words_of(name: str) -> list[str]:
    """The words of a Python name, in lower case: RunKind, run_kind and RUN_KIND2 all give run, kind."""
    parts = re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)
    return [part.lower() for part in parts if len(part) > 1]


def public_names(source: str) -> Iterator[str]:
    """Public names at the top level of a source text and in its public classes, and what it exports."""
    for node in ast.parse(source).body:
        yield from _names_of(node)
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for inner in node.body:
                yield from _names_of(inner)


def _names_of(node: ast.stmt) -> Iterator[str]:
    """Public names bound by one statement."""
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
        names = [node.name]
    elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
        names = [node.target.id]
    elif isinstance(node, ast.Assign):
        names = [target.id for target in node.targets if isinstance(target, ast.Name)]
        if names == ["__all__"]:
            yield from ast.literal_eval(node.value)
    else:
        names = []
    yield from (name for name in names if not name.startswith("_"))


def glossary_words(page: str) -> set[str]:
    """Words of the table's first column and of the list of plain words."""
    table, _, plain = page.partition(PLAIN_WORDS_HEADING)
    rows = re.findall(r"^\| ([^|]+?) \|", table, flags=re.MULTILINE)
    listed = [word for row in rows for word in re.findall(r"[A-Za-z]+", row)]
    return {word.lower() for word in listed} | set(re.findall(r"[a-z]+", plain.lower()))


def unlisted(names: Iterator[str], known: set[str]) -> dict[str, list[str]]:
    """Word -> names that use it, for words neither listed as they are nor as the singular of a plural."""
    missing: dict[str, list[str]] = {}
    for name in names:
        for word in words_of(name):
            if word not in known and word.removesuffix("s") not in known and word.removesuffix("es") not in known:
                missing.setdefault(word, []).append(name)
    return missing


PAGE = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
MODULES = sorted(path for pattern in COVERED for path in PACKAGE.glob(pattern))


@pytest.mark.parametrize("module", [*MODULES, PACKAGE / "__init__.py"], ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_public_words_are_in_the_glossary(module: Path) -> None:
    names = public_names(module.read_text(encoding="utf-8"))
    assert unlisted(names, glossary_words(PAGE)) == {}


def test_every_row_has_word_meaning_and_unit() -> None:
    table = PAGE.partition(PLAIN_WORDS_HEADING)[0]
    rows = [line.strip("| ").split(" | ") for line in table.splitlines() if line.startswith("| ")]
    assert len(rows) > 40
    assert [row for row in rows if len(row) != 3 or not all(cell.strip() for cell in row)] == []


def test_no_word_is_listed_twice() -> None:
    table = PAGE.partition(PLAIN_WORDS_HEADING)[0]
    rows = re.findall(r"^\| ([^|]+?) \|", table, flags=re.MULTILINE)
    assert sorted(row for row in rows if rows.count(row) > 1) == []


def test_an_unlisted_word_is_found() -> None:
    source = "class RunKind:\n    zorblat_head: float\n    def _hidden(self): ...\ndef snark(): ...\n"
    missing = unlisted(public_names(source), {"run", "kind", "head"})
    assert missing == {"zorblat": ["zorblat_head"], "snark": ["snark"]}


def test_names_split_into_words() -> None:
    assert words_of("HTTPServer_delivered_flow2") == ["http", "server", "delivered", "flow"]
