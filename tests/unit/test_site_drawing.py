"""The site from the side: words never on words and inside the frame, heights to scale, both variants, units, languages."""

from __future__ import annotations

import random
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from invented_design import GRADE, LIFT, choice, place, standpipe_choice, survey

from clackwork.charts.label_places import Label, place_labels, spread, text_width, wrap_to
from clackwork.charts.site_drawing import site_drawing
from clackwork.charts.site_scene import site_scene
from clackwork.pipes import find_pipe
from clackwork.ram.parts import DeliveryLine, DrivePipe
from clackwork.site.route import Route, RoutePoint
from clackwork.site.site import Site
from clackwork.words import load_words

FONTS = Path(__file__).resolve().parents[2] / "clackwork" / "sheets" / "fonts"
SVG = "{http" + "://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Box:
    """Where a text lies."""

    words: str
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        """Whether the two lie on one another."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )


class Face:
    """Widths of the face that is printed, from its own file."""

    def __init__(self, name: str) -> None:
        font = TTFont(FONTS / name)
        self.letters, self.widths, self.em = font.getBestCmap(), font["hmtx"], font["head"].unitsPerEm

    def width(self, text: str, size: float) -> float:
        """Of a line of text."""
        return size * sum(self.widths[self.letters[ord(letter)]][0] for letter in text) / self.em


REGULAR, BOLD = Face("Lato-Regular.ttf"), Face("Lato-Bold.ttf")


def boxes_of(svg: str) -> tuple[list[Box], Box]:
    """Every text of a drawing, and its frame."""
    root = ElementTree.fromstring(svg)
    found = []
    for node in root.iter(f"{SVG}text"):
        size = float(node.get("font-size", root.get("font-size")))
        face = BOLD if node.get("font-weight") == "bold" else REGULAR
        width = face.width(node.text or "", size)
        x, y = float(node.get("x")), float(node.get("y"))
        left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[node.get("text-anchor")] * width
        found.append(Box(node.text or "", left, y - 0.75 * size, left + width, y + 0.22 * size))
    left, top, width, height = map(float, root.get("viewBox").split())
    return found, Box("", left, top, left + width, top + height)


def leaders_of(svg: str) -> list[tuple[float, float, float]]:
    """The upright part of every leader: where it stands, from and to which height."""
    paths = re.findall(r'<path d="M\S+ \S+L(\S+) (\S+)L(\S+) (\S+)" stroke="#6b6b6b" stroke-width="0.6"/>', svg)
    return [(float(x), float(start), float(end)) for x, start, _, end in paths]


def require_clear(svg: str) -> None:
    """No text on another, none out of the frame, no leader through words that are not its own."""
    found, frame = boxes_of(svg)
    assert len(found) > 5
    for number, one in enumerate(found):
        assert frame.left <= one.left and one.right <= frame.right, one
        assert frame.top <= one.top and one.bottom <= frame.bottom, one
        for other in found[:number]:
            assert not one.meets(other), (one, other)
    for x, start, end in leaders_of(svg):
        low, high = sorted((start, end))
        for box in found:
            own = min(abs(end - box.top), abs(end - box.bottom)) < 8.0
            crossed = box.left < x < box.right and box.top < high - 3.0 and low + 3.0 < box.bottom
            assert own or not crossed, (x, box)


def test_the_check_can_fail() -> None:
    drawn = site_drawing(survey(), choice())
    box = boxes_of(drawn)[0][0]
    for x, y in ((box.left, box.bottom), (-20.0, box.bottom)):
        spoilt = drawn.replace("</svg>", f'<text x="{x}" y="{y}" text-anchor="start">on top of it</text></svg>')
        with pytest.raises(AssertionError):
            require_clear(spoilt)


PE = find_pipe("pe100-sdr11", "32 mm")


def long_flat() -> tuple[Route, Site]:
    """Two kilometres that rise by fifteen metres, ups and downs and notes on the way."""
    points = [
        RoutePoint(200.0 * n, 1.5 * n + (3.0 if n % 3 == 1 else 0.0), f"gate number {n}" if n % 2 else "")
        for n in range(10)
    ]
    route = Route((*points, RoutePoint(2000.0, 15.0)))
    return route, place(fall=1.0, line=DeliveryLine(PE, 2000.0, 15.0))


def cases() -> dict[str, tuple]:
    """Usual and extreme places, with what is drawn on the line."""
    route, flat = long_flat()
    return {
        "usual": (survey(), choice(), GRADE, (60.0,), (85.0,)),
        "standpipe": (survey(), standpipe_choice(), GRADE, (60.0,), (85.0,)),
        "surveyed only": (survey(), None, (), (), ()),
        "no route": (survey(route=None), choice(), GRADE, (), ()),
        "nothing known": (survey(route=None, ground_to_source=None), None, (), (), ()),
        "design only": (None, place(), (), (), ()),
        "flat": (survey(route=route), flat, ((0.0, 17.0), (2000.0, 15.0)), (200.0, 800.0, 1400.0), (400.0, 1000.0)),
        "steep": (survey(route=None), place(fall=8.0, line=DeliveryLine(PE, 140.0, 120.0)), (), (), ()),
        "upright": (survey(route=None), place(fall=2.0, line=DeliveryLine(PE, 60.0, 60.0)), (), (), ()),
        "short drive": (survey(route=None), place(fall=2.9, drive_pipe=DrivePipe(PE, 3.0)), (), (), ()),
        "below the pump": (
            survey(route=Route((RoutePoint(0, 0), RoutePoint(50, -8, "under the stream"), RoutePoint(160, LIFT)))),
            choice(), (), (), (50.0,),
        ),
        "crowded": (survey(), choice(), GRADE, (58.0, 59.0, 60.0, 61.0), (84.0, 85.0, 86.0)),
    }  # fmt: skip


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
@pytest.mark.parametrize("name", cases())
def test_words_are_clear_of_one_another(name: str, narrow: bool, units: str, language: str) -> None:
    known, design, grade, air, drains = cases()[name]
    svg = site_drawing(
        known, design, units=units, words=load_words(language), narrow=narrow,
        grade_line=grade, air_points=air, drain_points=drains,
    )  # fmt: skip
    require_clear(svg)


@pytest.mark.parametrize("seed", range(12))
def test_words_are_clear_at_places_by_chance(seed: int) -> None:
    chance = random.Random(seed)
    length, lift = 10.0 ** chance.uniform(1.3, 3.3), 10.0 ** chance.uniform(0.7, 2.0)
    lift, fall = min(lift, 0.9 * length), chance.uniform(0.5, 0.9) * min(lift, 20.0)
    places = sorted(chance.uniform(0.1, 0.9) * length for _ in range(chance.randrange(1, 9)))
    points = [RoutePoint(0.0, 0.0)]
    for at in places:
        if at > points[-1].distance + 0.02 * length:
            points.append(RoutePoint(at, lift * at / length, chance.choice(["", "gate", "crosses the lower track"])))
    route = Route((*points, RoutePoint(length, lift)))
    site = place(
        fall=fall, line=DeliveryLine(PE, length, lift), drive_pipe=DrivePipe(PE, fall * chance.uniform(1.1, 12.0))
    )
    for narrow in (False, True):
        require_clear(
            site_drawing(survey(route=route), site, narrow=narrow, air_points=places[::2], drain_points=places[1::2])
        )


def test_heights_and_lengths_are_to_scale() -> None:
    """The drawn fall and lift are to each other as they are; both scales by hand from the ends of the pipes."""
    svg = site_drawing(survey(route=None), place(fall=8.0, line=DeliveryLine(PE, 140.0, 120.0)))
    dimensions = re.findall(r'<path d="M(\S+) (\S+)L\1 (\S+)" stroke-width="0.8"/>', svg)
    fall, lift = (float(foot) - float(top) for _, top, foot in dimensions)
    assert lift / fall == pytest.approx(120.0 / 8.0, rel=0.01)
    (x_pump, y_pump, x_out, y_out) = map(
        float, re.search(r'M(\S+) (\S+)L(\S+) (\S+)" stroke-width="2.4"', svg).groups()
    )
    assert y_pump - y_out == pytest.approx(lift, abs=0.2)
    across = (140.0**2 - 120.0**2) ** 0.5  # a straight pipe of 140 m that rises by 120 m
    assert (x_out - x_pump) / across == pytest.approx(lift / 120.0, rel=0.01)
    assert "one scale" in svg


def test_taller_heights_are_said_and_drawn() -> None:
    svg = site_drawing(*cases()["flat"][:2])
    times = int(re.search(r"drawn (\d+) times", svg)[1])
    steps = re.search(r'<path d="M([^"]+)" stroke-width="2.4"', svg)[1].split("L")
    (x_pump, y_pump), (x_first, y_first) = (map(float, step.split()) for step in steps[:2])
    across = (200.0**2 - 4.5**2) ** 0.5
    assert ((y_pump - y_first) / 4.5) / ((x_first - x_pump) / across) == pytest.approx(times, rel=0.02)


def test_the_way_is_unrolled_by_its_true_level_distance() -> None:
    scene = site_scene(survey(), choice())
    assert scene.ends[1] == pytest.approx(survey().route.level_distance)
    assert scene.ends[0] == pytest.approx(-((18.0**2 - 3.0**2) ** 0.5))
    assert [each.kind for each in scene.stretches] == ["drive", "line", "line"]


def test_all_parts_are_named() -> None:
    svg = site_drawing(
        survey(), standpipe_choice(), grade_line=GRADE, air_points=(60.0,), drain_points=(85.0,), narrow=True
    )
    text = " ".join(re.findall(r">([^<>]+)</text>", svg)).replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        "fall 3.00 m", "lift 21.0 m", "source", "standpipe, bore 300 mm", "2 pumps", "air valve, 60.0 m along",
        "drain, 85.0 m along", "hydraulic grade line", "supply pipe, 40.0 m", "drive pipe, 18.0 m", "0 m to 60.0 m",
        "60.0 m to 160 m", "rated for 163 m", "crosses the track",
    ):  # fmt: skip
        assert words in text, words


def test_it_speaks_to_who_cannot_see_it() -> None:
    root = ElementTree.fromstring(site_drawing(survey(), choice(), prefix="a"))
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "a-title a-words"
    assert root.find(f"{SVG}title").text == "Upper terrace (invented) from the side"
    assert "3.00 m above the pump" in root.find(f"{SVG}desc").text
    ids = [node.get("id") for node in root.iter() if node.get("id")]
    assert len(ids) == len(set(ids)) and all(name.startswith("a-") for name in ids)


def test_grey_only_and_nothing_fetched() -> None:
    svg = site_drawing(survey(), choice())
    for colour in re.findall(r"#([0-9a-f]{6})\b", svg):
        assert colour[:2] == colour[2:4] == colour[4:], colour
    assert "href" not in svg and "<image" not in svg


def test_names_are_text_and_never_markup() -> None:
    ugly = 'Spring <b> & "x" </svg>'
    known = replace(
        survey(), name=ugly, route=Route((RoutePoint(0, 0), RoutePoint(50, 5, "<script>"), RoutePoint(160, LIFT)))
    )
    root = ElementTree.fromstring(site_drawing(known, None))
    assert root.find(f"{SVG}title").text == f"{ugly} from the side"
    assert not list(root.iter(f"{SVG}script"))


def test_a_place_of_which_nothing_is_known_is_refused() -> None:
    with pytest.raises(ValueError, match="survey or its design"):
        site_scene(None, None)


def test_widths_are_never_less_than_those_of_the_face() -> None:
    """Against the advance widths in the file of the face itself."""
    for text in ("drive pipe, 18.0 m: 2 in PVC (PN 16)", "válvula de aire, a 60,0 m", "MWQ%@ ¿ñüß", "iiillll.,'"):
        assert text_width(text, 13.0) >= REGULAR.width(text, 13.0)
        assert text_width(text, 13.0) <= 1.2 * REGULAR.width(text, 13.0)


def test_lines_keep_a_number_with_its_unit() -> None:
    lines = wrap_to("drive pipe, 18.0 m: 2 in PVC", 90.0, 13.0)
    assert len(lines) > 1
    assert all(text_width(line, 13.0) <= 90.0 for line in lines)
    assert not any(re.search(r"\d$", line) for line in lines)
    (cut,) = wrap_to("x" * 60, 90.0, 13.0)
    assert cut.endswith("…") and text_width(cut, 13.0) <= 90.0


def test_labels_that_do_not_fit_are_given_up() -> None:
    labels = [Label(50.0 + n, 0.0, ("a rather long label",)) for n in range(30)]
    assert place_labels(labels, 0.0, 200.0, 13.0) is None


def test_spread_keeps_order_and_distance() -> None:
    places = spread([5.0, 5.0, 5.0, 98.0, 99.0], 10.0, 0.0, 100.0)
    assert all(after - before >= 10.0 - 1e-9 for before, after in pairwise(places))
    assert places[-1] <= 100.0
