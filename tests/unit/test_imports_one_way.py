"""The package's imports point one way: edge -> jobs -> twin -> bench, ram -> physics."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "clackwork"

FOUNDATION = {"errors", "_cache"}
PHYSICS = {"water", "pipes", "hammer", "rigid"}
LAYERS = (FOUNDATION, PHYSICS, {"bench", "ram"}, {"twin"}, {"site", "life", "fault", "promise"})
"""Lowest first. Any other top-level module is edge: it may import all, and nothing below may import it."""
SIDE_BY_SIDE = {"bench": {"ram"}, "ram": {"bench"}}
"""Pieces of one layer that must not know each other."""
EDGE = len(LAYERS)


def layer_of(module: str) -> int:
    """Layer number of a top-level module or folder of the package."""
    return next((number for number, names in enumerate(LAYERS) if module in names), EDGE)


def imported(source: str, package: tuple[str, ...]) -> Iterator[str]:
    """Dotted names below ``clackwork`` that a source text imports anywhere; ``package`` resolves dots."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(package[: len(package) - node.level + 1]) if node.level else ""
            stem = ".".join(part for part in (base, node.module or "") if part)
            names = [f"{stem}.{alias.name}" for alias in node.names] if stem == "clackwork" else [stem]
        else:
            continue
        yield from (name.removeprefix("clackwork.") for name in names if name.startswith("clackwork."))


def wrong_imports(module: str, source: str) -> list[str]:
    """Imports of one module ("bench/gum.py") that point up or across."""
    parts = module.removesuffix(".py").split("/")
    own, package = parts[0], ("clackwork", *parts[:-1])
    wrong = []
    for name in imported(source, package):
        other = name.split(".")[0]
        across = other in SIDE_BY_SIDE.get(own, set())
        if other != own and (layer_of(other) > layer_of(own) or across):
            wrong.append(f"{module} imports clackwork.{name}")
    return wrong


MODULES = sorted(p.relative_to(PACKAGE).as_posix() for p in PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("module", [m for m in MODULES if layer_of(m.split("/")[0].removesuffix(".py")) < EDGE])
def test_imports_point_down(module: str) -> None:
    assert wrong_imports(module, (PACKAGE / module).read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("water.py", "from clackwork.ram import kernel"),
        ("bench/gum.py", "import clackwork.ram.parts"),
        ("ram/engine.py", "def f():\n    from clackwork import twin"),
        ("twin/fit.py", "from ..site import promise"),
        ("site/promise.py", "from clackwork.quantities import parse"),
    ],
)
def test_the_rule_can_fail(module: str, source: str) -> None:
    assert len(wrong_imports(module, source)) == 1


def test_the_package_was_found() -> None:
    assert "errors.py" in MODULES
