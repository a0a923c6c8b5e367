"""Forms: the same fields as the readers of a workbook, numbers, errors beside their field, units."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from typing import Any

import pytest

from clackwork.book.kinds import Around, instruments_apart, read_entered, rig_of
from clackwork.errors import ClackworkError, InputError
from clackwork.quantities import KINDS, parse, parse_plus_minus
from clackwork.site.due import CARE
from clackwork.site.visit import PARTS
from clackwork.web.field_lists import FLAP, POPPET, forms
from clackwork.web.figures import example, system_typed, typed_in
from clackwork.web.forms import entered_of, filled_from, filled_of, place_error
from clackwork.workbook_instruments import ROLES as INSTRUMENT_ROLES
from clackwork.workbook_instruments import SORTS
from clackwork.workbook_parts import read_build
from clackwork.workbook_prices import read_prices
from clackwork.workbook_reader import Table, parse_toml
from clackwork.workbook_runs import read_trial

NAMES_AND_LINKS = {"name", "build", "rig", "builds", "trial", "revision_of", "pump", "site"}
DEMO = parse_toml((files("clackwork") / "demo" / "workshop.toml").read_text(encoding="utf-8"))


STOCK = {"drive_pipes": ["steel-sch40"], "standpipe_diameters": ["300 mm"]}
LIKELY = {"fall": ["1 m", "3 m"], "lift_over_fall": [4, 8], "source_flow": ["9 L/min", "30 L/min"]}


def asked_by(read: Callable[[], object], monkeypatch: pytest.MonkeyPatch) -> tuple[set[str], set[str]]:
    """Dotted places of all fields that a reader asks for, and of those that are tables."""
    tables: list[Table] = []
    make = Table.__init__

    def kept(table: Table, *args: Any, **more: Any) -> None:
        make(table, *args, **more)
        tables.append(table)

    with monkeypatch.context() as patched:
        patched.setattr(Table, "__init__", kept)
        read()
    root = tables[0].path
    places = {f"{table.path}.{key}".removeprefix(f"{root}.") for table in tables for key in table._asked}
    inner = {table.path.removeprefix(f"{root}.") for table in tables[1:]}
    return {place for place in places if place.split(".")[0] not in NAMES_AND_LINKS}, inner


def readings(kind: str) -> list[Callable[[], object]]:
    """Reads of every variant of a kind: both valves, pipes by series and by measures, every instrument."""

    def variant(entered: dict[str, Any], names: dict[str, str] | None = None, rig: Any = None) -> Callable[[], object]:
        return lambda: read_entered(kind, "one", entered, Around(names or {}, rig))

    def sort_of_instrument(sort: str) -> Callable[[], object]:
        return variant({"sort": sort})

    own_pipe = {"bore": "28 mm", "wall": "2 mm", "material": "PVC", "length": "24 m"}
    gauges = {name: {} for name in ("bucket", "delivery_bucket", "stopwatch", "gauge", "level_rule", "thermometer")}
    rig, site = instruments_apart(DEMO["rig"]["yard"])[0], DEMO["site"]["Dry Gill"]
    long_pipe = {**own_pipe, "upstream": own_pipe}
    listed_pipe = {"series": "steel-sch40", "size": "1 in", "length": "9 m"}
    listed_long = {**listed_pipe, "upstream": listed_pipe}
    feeds = [{**pipe, "standpipe_diameter": "0.3 m"} for pipe in (own_pipe, listed_pipe)]
    held = {key: value for key, value in rig.items() if key != "supply_diameter"}
    return {
        "build": [variant({**one, "snifter": {"bore": "1 mm"}}) for one in DEMO["build"].values()],
        "rig": [
            variant(rig),
            variant({**held, "drive_pipe": long_pipe, "supply_pipe": feeds[0], "instruments": gauges}),
            variant({**held, "drive_pipe": listed_long, "supply_pipe": feeds[1]}),
        ],
        "site": [
            variant(site),
            *(variant(one) for one in surveyed()),
            variant({**site, "drive_pipe": long_pipe, "delivery_line": own_pipe, "supply_pipe": feeds[0]}),
            variant({**site, "drive_pipe": listed_long, "supply_pipe": feeds[1]}),
        ],
        "run": [
            variant(
                {"kind": "dead_head", "duration": "60 s"},
                {"build": "flap", "rig": "yard"},
                rig_of("yard", rig, Around({})),
            )
        ],
        "instrument": [sort_of_instrument(sort) for sort in SORTS],
        "trial": [
            variant(
                {k: v for k, v in DEMO["trial"]["waste"].items() if k != "builds"},
                {"old_build": "flap", "new_build": "poppet"},
            )
        ],
        "part": [
            variant({k: v for k, v in DEMO["part"][2].items() if k not in NAMES_AND_LINKS}, {"build": "flap", **there})
            for there in ({"site": "here"}, {"rig": "yard"})
        ],
        "switch": [
            variant(
                {k: v for k, v in DEMO["switch"]["poppet"].items() if k != "pair"} | {"likely": LIKELY},
                {"old_build": "flap", "new_build": "poppet"},
            )
        ],
        "pump": [variant({})],
        "workshop": [variant({"prices": DEMO["prices"], "stock": STOCK, "care": {item: {} for item in CARE}})],
        "visit": [
            variant(
                {
                    "date": "2024-05-03",
                    "purpose": "service",
                    "parts": {part: {"condition": "worn"} for part in PARTS},
                    "care": {item: "yes" for item in CARE},
                    "instruments": gauges,
                },
                {"site": "here", "build": "flap"},
            )
        ],
    }[kind]


def surveyed() -> list[dict[str, Any]]:
    """Places by every sort of reading: each method for each height, each method for the source."""
    bare = {"drinkers": "nobody", "line_length": "90 m"}
    methods: list[dict[str, Any]] = [
        {"method": "level", "setups": [{"back": "2.9 m", "fore": "0.1 m"}]},
        {"method": "hose", "steps": ["2.9 m"]},
        {"method": "gauge", "pressures": ["0.3 bar"], "gauge": {"full_scale": "1 bar", "accuracy_class": "1 %"}},
        {"method": "map", "lower": "100 m", "higher": "103 m", "contour_interval": "5 m"},
    ]
    sources: list[dict[str, Any]] = [
        {"method": "bucket", "volume": "10 L", "times": ["31 s"], "bucket": {}, "stopwatch": {}},
        {"method": "notch", "heads": ["60 mm"]},
        {"method": "float", "distance": "4 m", "times": ["9 s"], "width": "60 cm", "depths": ["9 cm"], "bed": "smooth"},
        {"method": "typed", "flow": "30 L/min"},
    ]
    found = []
    for place, height in enumerate(methods):
        lift = methods[place - 1]
        found += [
            {"fall_readings": height, "lift_from_source_readings": lift, "source": sources, "survey": bare},
            {"fall": "1 m", "lift_from_pump_readings": height, "source": sources, "survey": bare},
        ]
    needs = {"use": [{"what": "sheep", "number": 3}]}
    route = [{"distance": "0 m", "height": "0 m"}, {"distance": "90 m", "height": "20 m"}]
    found.append({"fall": "1 m", "lift_from_pump": "20 m", "source_flow": "9 L/min", "needs": needs, "route": route})
    return found


OF_A_ROW = {"source": {"note", "bucket", "stopwatch", "head_half_width", "angle_half_width"}}
"""What a row may hold beside its columns, written out in it."""


def outside_rows(form: Any, places: set[str]) -> set[str]:
    """Places with those inside a field of rows put together to that field; each must have a column there.

    A field of lines holds whatever names its table has.
    """
    lines = [one.key for one in form.fields() if one.kind == "lines"]
    found = set()
    for place in places:
        if any(place.startswith(f"{key}.") for key in lines):
            found.add(next(key for key in lines if place.startswith(f"{key}.")))
            continue
        field = next((one for one in form.fields() if one.kind == "rows" and place.startswith(f"{one.key}.")), None)
        if field is None:
            found.add(place)
            continue
        found.add(field.key)
        columns = {one.key for sort in ((), *field.sorts.values()) for one in (*field.columns, *sort)}
        key = place.removeprefix(f"{field.key}.").split(".")[1:2]
        assert set(key) <= columns | OF_A_ROW.get(field.key, set()), place
    return found


@pytest.mark.parametrize("kind", sorted(forms()))
def test_a_form_has_the_fields_its_reader_asks_for(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: set[str] = set()
    tables = {"drive_pipe.upstream.upstream"}  # a third pipe is written in a workbook; the form keeps it
    for read in readings(kind):
        places, inner = asked_by(read, monkeypatch)
        asked, tables = asked | places, tables | inner
    linked = {f"instruments.{role}.instrument" for role in INSTRUMENT_ROLES} if kind in ("rig", "visit") else set()
    assert linked <= asked  # chosen as links of a rig; a visit has its own alone
    tables |= {"design", "as_built"} if kind == "site" else set()
    form = forms()[kind]
    assert {one.key for one in form.fields()} == outside_rows(form, asked - tables - linked)


@pytest.mark.parametrize("kind", sorted(forms()))
def test_fields_are_of_a_known_kind_and_choices_are_what_the_reader_takes(kind: str) -> None:
    for one in forms()[kind].fields():
        assert one.kind in {*KINDS, "text", "note", "date", "number", "whole", "choice", "list", "rows", "lines"}, (
            one.key
        )
        assert bool(one.choices) is (one.kind == "choice"), one.key
        if one.only_for is not None:
            links = {f"link.{link.role}" for link in forms()[kind].links}
            assert forms()[kind].field(one.only_for.key) or one.only_for.key in links, one.key


@pytest.mark.parametrize("name", ["flap", "poppet"])
def test_a_build_goes_through_its_form_unchanged(name: str) -> None:
    form, entered = forms()["build"], DEMO["build"][name]
    filled = filled_of(form, name, entered, {"pump": 3})
    again = filled_from(form, filled.values)
    assert entered_of(again) == entered and again.value("link.pump") == "3"
    read_build(Table(entered_of(again), f"build '{name}'", f"build.{name}", {}), name)


def test_parts_and_switches_go_through_their_forms_unchanged() -> None:
    for table in DEMO["part"]:
        entered = {key: value for key, value in table.items() if key not in NAMES_AND_LINKS}
        assert entered_of(filled_of(forms()["part"], table["name"], entered, {})) == entered
    pair = {"old": "small flap", "new": "small poppet"}
    entered = {**DEMO["switch"]["poppet"], "pair": [pair], "likely": LIKELY, "likely_sites": 30, "years": 8}
    again = entered_of(filled_of(forms()["switch"], "poppet", entered, {}))
    assert float(again.pop("value_of_a_cubic_metre")) == float(entered.pop("value_of_a_cubic_metre"))
    assert again == entered


@pytest.mark.parametrize("kind", ["rig", "site"])
def test_rigs_and_sites_go_through_their_forms_unchanged(kind: str) -> None:
    for name, table in DEMO[kind].items():
        entered, used = instruments_apart(table)
        assert entered_of(filled_of(forms()[kind], name, entered, dict.fromkeys(used, 7))) == entered


def test_fields_of_an_instrument_chosen_from_the_book_are_left_out() -> None:
    entered = {"instruments": {"gauge": {"full_scale": "4 bar", "height_above_datum": "0.2 m"}}}
    filled = filled_of(forms()["rig"], "yard", entered, {"gauge": 7})
    assert entered_of(filled)["instruments"] == {"gauge": {"height_above_datum": "0.2 m"}}


def test_a_workshop_s_prices_go_through_their_form_without_loss() -> None:
    form, entered = forms()["workshop"], {"title": "Two hands", "prices": DEMO["prices"]}
    again = entered_of(filled_from(form, filled_of(form, "Us", entered, {}).values), entered)
    read = {
        name: read_prices(Table(one["prices"], "prices", "prices", {})) for name, one in (("a", entered), ("b", again))
    }
    assert read["a"] == read["b"]
    assert again["prices"]["pipes"] == entered["prices"]["pipes"]  # texts stay as typed
    assert entered_of(filled_from(form, filled_of(form, "Us", again, {}).values), again) == again


def test_a_price_taken_out_of_its_lines_is_gone() -> None:
    form, entered = forms()["workshop"], {"prices": {"currency": "EUR", "pumps": {"flap": "180", "poppet": "200"}}}
    filled = filled_of(form, "Us", entered, {})
    filled.values["prices.pumps"] = "flap = 180"
    assert entered_of(filled, entered) == {"prices": {"currency": "EUR", "pumps": {"flap": "180"}}}


def test_a_long_price_list_is_not_cut() -> None:
    lines = "\n".join(f"part number {place} = {place}.50" for place in range(300))
    filled = filled_from(forms()["workshop"], {"prices.parts": lines})
    assert len(entered_of(filled)["prices"]["parts"]) == 300


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("pumps", "flap 180", "no name"),
        ("pumps", "flap = 180\nflap = 190", "twice"),
        ("pumps", "flap = dear", "plain number"),
        ("pipes", "steel-sch41 1 in = 7.50", "steel-sch40"),
        ("pipes", "steel-sch40 1 in = -2", "plain number"),
        ("parts", "strainr = 3", 'Did you mean "strainer"'),
        ("hours", "set up = 3", "set out"),
    ],
)
def test_a_wrong_price_is_told_at_its_field_by_its_line(key: str, text: str, said: str) -> None:
    form = forms()["workshop"]
    filled = filled_from(form, {"name": "Us", "prices.currency": "EUR", f"prices.{key}": text})
    with pytest.raises(InputError) as told:
        read_entered("workshop", "Us", entered_of(filled), Around({}))
    place_error(filled, told.value)
    assert said in filled.error(f"prices.{key}")
    assert text.split("=")[0].split("\n")[0].strip() in filled.error(f"prices.{key}")


def test_what_a_form_has_no_field_for_stays() -> None:
    third = {"series": "steel-sch40", "size": "2 in", "length": "4 m"}
    pipe = {"series": "steel-sch40", "size": "1 in", "length": "9 m"}
    entered = {"fall": "2 m", "drive_pipe": {**pipe, "upstream": {**pipe, "upstream": third}}}
    filled = filled_of(forms()["rig"], "yard", entered, {})
    filled.values["fall"] = "3 m"
    assert entered_of(filled, entered) == {**entered, "fall": "3 m"}
    assert "upstream" not in entered_of(filled)["drive_pipe"]["upstream"]


def test_fields_of_the_other_valve_are_left_out() -> None:
    values = {"waste_valve.kind": POPPET, "waste_valve.mass_distance": "22 mm", "waste_valve.mass": "30 g"}
    assert entered_of(filled_from(forms()["build"], values))["waste_valve"] == {"kind": POPPET, "mass": "30 g"}
    values["waste_valve.kind"] = FLAP
    assert "mass_distance" in entered_of(filled_from(forms()["build"], values))["waste_valve"]


@pytest.mark.parametrize(("text", "number"), [("0.6", 0.6), ("0,6", 0.6), ("3", 3.0)])
def test_plain_numbers(text: str, number: float) -> None:
    filled = filled_from(forms()["rig"], {"drive_pipe.entry_loss": text})
    assert entered_of(filled)["drive_pipe"]["entry_loss"] == number


@pytest.mark.parametrize("text", ["a lot", "0.6 m", "nan", "inf", "1e999"])
def test_what_is_no_plain_number_is_said_at_its_field(text: str) -> None:
    filled = filled_from(forms()["rig"], {"drive_pipe.entry_loss": text})
    with pytest.raises(InputError) as told:
        entered_of(filled)
    place_error(filled, told.value)
    assert "plain number" in filled.error("drive_pipe.entry_loss") and filled.value("drive_pipe.entry_loss") == text


@pytest.mark.parametrize(
    ("kind", "values", "field", "said"),
    [
        ("build", {}, "waste_valve.kind", "guided poppet"),
        ("build", {"waste_valve.kind": POPPET}, "waste_valve.mass", "It is needed"),
        ("build", {"waste_valve.kind": POPPET, "waste_valve.mass": "30"}, "waste_valve.mass", "unit"),
        (
            "site",
            {"fall": "3 m", "source_flow": "9 L/min", "drive_pipe.length": "9 m"},
            "drive_pipe.bore",
            "series and size",
        ),
        ("site", {"fall": "3 m", "source": "2026-13-01; bucket; 10 L; 31 s"}, "source", "Line 1: It must be a date"),
        ("site", {"fall": "3 m", "source": "; bucket; 10 L; 31 s\n; notch; 90 m"}, "source", "Line 2: It must be 0.03"),
        ("rig", {"fall": "7 ft", "drive_pipe.series": "steel-sch40"}, "drive_pipe.size", "go together"),
        ("rig", {"fall": "400 ft"}, "fall", "ft"),
    ],
)
def test_an_error_stands_beside_its_field(kind: str, values: dict[str, str], field: str, said: str) -> None:
    filled = filled_from(forms()[kind], {"name": "north, by the wall", **values})
    with pytest.raises(ClackworkError) as told:
        read_entered(kind, filled.value("name"), entered_of(filled), Around({}))
    place_error(filled, told.value)
    assert set(filled.errors) == {field} and said in filled.error(field)


def test_an_error_about_two_fields_stands_beside_both() -> None:
    entered = {k: v for k, v in DEMO["site"]["Dry Gill"].items() if k != "lift_from_pump"}
    filled = filled_of(forms()["site"], "Dry Gill", entered, {})
    with pytest.raises(ClackworkError) as told:
        read_entered("site", "Dry Gill", entered_of(filled), Around({}))
    place_error(filled, told.value)
    assert set(filled.errors) == {"lift_from_pump", "lift_from_source"}


def test_an_error_of_no_field_stands_above_the_form() -> None:
    filled = filled_from(forms()["trial"], {})
    place_error(filled, ClackworkError("The book is busy."))
    assert filled.errors == {"": "The book is busy."}


def test_trial_choices_are_those_of_the_reader() -> None:
    for one in forms()["trial"].fields():
        for choice in one.choices[1:]:
            entered = {**DEMO["trial"]["waste"], one.key: choice.value}
            read_trial(Table(entered, "trial 'waste'", "trial.waste", {}), "waste", ["flap", "poppet"])


# --- units ---


@pytest.mark.parametrize(
    ("text", "kind", "system", "shown"),
    [
        ("140 g", "mass", "metric", "140 g"),
        ("140 g", "mass", "us", "0.309 lb"),
        ("40 ft", "length", "us", "40 ft"),
        ("40 ft", "length", "metric", "12.2 m"),
        ("2:00", "duration", "us", "2:00"),
        ("5 %", "fraction", "us", "5 %"),
        ("what", "length", "us", "what"),
        ("steel-sch40", "text", "us", "steel-sch40"),
        ("5 gal (imp)", "volume", "us", "6.00 gal"),
        ("6' 2\"", "length", "us", "6' 2\""),
    ],
)
def test_typed_texts_in_either_system(text: str, kind: str, system: str, shown: str) -> None:
    assert typed_in(text, kind, system) == shown


def test_limits_are_converted_with_their_value() -> None:
    shown = typed_in("3.00 m ± 0.03 m", "head", "us")
    value, limits = parse_plus_minus(shown, "head")
    assert shown.startswith("9.843 ft ± ") and value.value == pytest.approx(3.0, rel=1e-3)
    assert limits.value == pytest.approx(0.03, rel=0.02)


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_examples_can_be_read(kind: str, system: str) -> None:
    parse(example(kind, system), kind)


def test_the_system_of_every_example_is_seen() -> None:
    seen = {text: system_typed(text) for kind in KINDS.values() for text in kind.examples}
    assert {text for text, system in seen.items() if system == "imperial"} == {"5 gal (imp)"}
    us = {
        "40 ft",
        "1 1/4 in",
        "1.4 gpm",
        "12 psi",
        "54 F",
        "2 lb 3 oz",
        "3 lbf",
        "3.2 lbf/in",
        "71 lb/ft3",
        "0.3 cu in",
    }
    metric = {"2.1 m", "25 mm", "0.09 L/s", "80 kPa", "12 °C", "350 g", "2760 MPa", "60/min", "3 min 30 s", "1.2 kgf"}
    assert {seen[text] for text in us} == {"us"} and {seen[text] for text in metric} == {"metric"}
