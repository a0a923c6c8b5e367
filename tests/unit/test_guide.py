"""The guides in docs/guide run as written, and their pictures and printed lines are what they make.

Run as a script, from anywhere, it writes the pictures and printed lines anew.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).resolve().parents[2]
GUIDES = sorted((ROOT / "docs" / "guide").glob("*.md"))
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
CLOSE_ENOUGH = 0.1
"""Share by which a printed figure may be off before the page counts as stale."""


def run_guide(page: str) -> list[str]:
    """Run every python block of a page in order in one namespace; return what each text block should hold.

    A ``text`` block holds what the python block before it printed; a block that prints is followed by one.
    """
    namespace: dict[str, object] = {"__name__": "guide"}
    printed: list[str] = []
    said = ""
    for match in BLOCK.finditer(page):
        kind, body = match.groups()
        if kind == "python":
            assert not said, f"what was printed before line {_line(page, match)} is shown nowhere"
            code = compile("\n" * _line(page, match) + body, "guide", "exec")
            out = io.StringIO()
            with contextlib.redirect_stdout(out):
                exec(code, namespace)
            said = out.getvalue()
        elif kind == "text":
            printed.append(said)
            said = ""
    assert not said, "what the last block printed is shown nowhere"
    return printed


def _line(page: str, match: re.Match[str]) -> int:
    """Line of the page on which a block begins."""
    return page.count("\n", 0, match.start()) + 1


def shown_blocks(page: str) -> list[str]:
    return [match[2] for match in BLOCK.finditer(page) if match[1] == "text"]


def with_printed(page: str, printed: list[str]) -> str:
    """The page with its text blocks filled anew."""
    fresh = iter(printed)
    return BLOCK.sub(lambda match: f"```text\n{next(fresh)}```" if match[1] == "text" else match[0], page)


def alike(shown: str, printed: str) -> bool:
    """Same words in the same places, and every figure near the one shown or off by one in its last digit."""
    if NUMBER.sub("#", " ".join(shown.split())) != NUMBER.sub("#", " ".join(printed.split())):
        return False
    for one, other in zip(NUMBER.findall(shown), NUMBER.findall(printed), strict=True):
        last_digit = 10.0 ** -len(one.partition(".")[2])
        if abs(float(one) - float(other)) > max(CLOSE_ENOUGH * abs(float(one)), 1.01 * last_digit):
            return False
    return True


def structure(svg: str) -> Counter[str]:
    """What a picture is made of: its words, and how many marks of each kind; not where they stand or what they read."""
    found: Counter[str] = Counter()
    for element in ElementTree.fromstring(svg).iter():
        tag = element.tag.rpartition("}")[2]
        text = (element.text or "").strip()
        if tag == "text" and text and not re.fullmatch(r"[-−]?[\d.]+( %)?", text):
            found[re.sub(r"[\d.]+", "#", text)] += 1
        if "role-mark" in element.attrib.get("class", ""):
            found[element.attrib["class"].split()[0]] += 1
    return found


@pytest.fixture(scope="module", params=GUIDES, ids=lambda path: path.stem)
def made(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Path, list[str], Path]]:
    """A guide, what it printed and the folder with the pictures it drew."""
    folder = tmp_path_factory.mktemp("guide")
    (folder / "docs" / "guide").mkdir(parents=True)
    with contextlib.chdir(folder):
        printed = run_guide(request.param.read_text(encoding="utf-8"))
    yield request.param, printed, folder / "docs" / "guide"


def test_guide_runs_and_prints_what_it_shows(made: tuple[Path, list[str], Path]) -> None:
    path, printed, _ = made
    shown = shown_blocks(path.read_text(encoding="utf-8"))
    assert len(shown) == len(printed) > 0
    stale = [(old, new) for old, new in zip(shown, printed, strict=True) if not alike(old, new)]
    assert stale == [], "write the guide anew: python tests/unit/test_guide.py"


def test_pictures_are_those_the_guide_draws(made: tuple[Path, list[str], Path]) -> None:
    path, _, drawn = made
    text = path.read_text(encoding="utf-8")
    names = re.findall(r"!\[[^\]]{20,}\]\(([\w.-]+\.svg)\)", text)
    assert sorted(names) == sorted(each.name for each in drawn.glob("*.svg"))
    for name in names:
        committed = (path.parent / name).read_text(encoding="utf-8")
        assert structure(committed) == structure((drawn / name).read_text(encoding="utf-8")), (
            f"{name} is stale; write the guide anew: python tests/unit/test_guide.py"
        )


def test_pictures_read_in_grey_and_ask_for_nothing(made: tuple[Path, list[str], Path]) -> None:
    for picture in made[2].glob("*.svg"):
        svg = picture.read_text(encoding="utf-8")
        assert not re.search(r"(href|src)=", svg)
        for colour in re.findall(r"#([0-9a-fA-F]{6})\b", svg):
            assert colour[:2] == colour[2:4] == colour[4:], f"{picture.name}: {colour}"


def test_every_guide_is_linked_from_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert GUIDES
    assert [path.name for path in GUIDES if f"docs/guide/{path.name}" not in readme] == []


def test_a_stale_figure_is_seen() -> None:
    assert alike("49 beats, 0.00 J\n", "52 beats,  0.01 J")
    assert not alike("49 beats", "60 beats")
    assert not alike("49 beats", "49 beats a minute")
    assert not alike("1.20 m", "1.40 m")


def test_blocks_run_in_order_and_a_false_claim_fails() -> None:
    page = "```python\na = 1\nprint(a)\n```\n\n```text\n?\n```\n\n```python\nassert a == {}\n```\n"
    assert run_guide(page.format(1)) == ["1\n"]
    assert with_printed(page.format(1), ["1\n"]).count("```text\n1\n```") == 1
    with pytest.raises(AssertionError):
        run_guide(page.format(2))
    with pytest.raises(AssertionError, match="shown nowhere"):
        run_guide("```python\nprint(1)\n```\n")


def write_anew() -> None:
    """Write the pictures and printed lines of every guide."""
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    for path in GUIDES:
        page = path.read_text(encoding="utf-8")
        path.write_text(with_printed(page, run_guide(page)), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write_anew()
