"""Workbooks taken into a book and given out again: nothing is lost, nothing is doubled."""

from __future__ import annotations

import dataclasses

import pytest
from workshop_books import FLAP, POPPET, RIG, RUN, SITE, TRIAL, demo_text, small_shop

from clackwork.book import Book, Record, open_book
from clackwork.errors import InputError
from clackwork.workbook import Workbook, load_workbook
from clackwork.workbook_reader import WorkbookError

HELD = (
    *("title", "note", "units", "rigs", "builds", "runs", "trials", "sites", "typed", "revision_of", "trial_of"),
    *("surveys", "designs", "as_built", "prices", "stock", "visits", "care", "instruments", "parts", "switches"),
)


def held(workbook: Workbook) -> dict[str, object]:
    """What a workbook says, without its text and the name of its pump."""
    return {name: getattr(workbook, name) for name in HELD}


def told(book: Book) -> list[tuple[object, ...]]:
    """Every record by what a person typed, links by the names of what they lead to."""
    records: list[Record] = []
    for kind in ("pump", "rig", "build", "trial", "run", "site", "visit", "part", "switch"):
        records += book.list(kind, limit=500).records
    names = {one.id: one.name for one in records}
    return [
        (one.kind, one.name, {role: names[number] for role, number in one.links.items()}, one.entered, one.si)
        for one in records
    ]


def test_the_demo_goes_in_and_out_without_loss(book: Book) -> None:
    was = load_workbook(demo_text())
    pump = book.take_workbook(demo_text(), by="Ann").pump
    assert held(book.workbook(pump.id)) == held(was)
    assert held(load_workbook(book.give_workbook(pump.id))) == held(was)
    assert list(book.workbook(pump.id).builds) == list(was.builds)
    assert {one.made_by for one in book.list("run").records} == {"Ann"}


def test_a_book_given_out_and_taken_in_has_the_same_records(book: Book, tmp_path) -> None:  # type: ignore[no-untyped-def]
    shop = small_shop(book)
    book.change("pump", shop.pump.id, version=1, entered={"title": 'The "small" one', "note": "line\nline\x00\x7f"})
    with open_book(tmp_path / "other") as other:
        other.take_workbook(book.give_workbook(shop.pump.id))
        assert told(other) == told(book)


def test_taking_the_same_twice_adds_nothing(book: Book) -> None:
    first = book.take_workbook(demo_text())
    again = book.take_workbook(book.give_workbook(first.pump.id))
    assert (again.added, again.renamed, again.pump) == ((), {}, first.pump)
    assert len(again.same) == len(first.added)


def test_a_price_list_goes_to_the_workshop_that_has_none(book: Book) -> None:
    first = book.take_workbook(demo_text())
    assert book.workshop().entered["prices"]["pumps"] == {"flap": 310, "poppet": 360}
    assert not first.prices_left
    assert not book.take_workbook(demo_text()).prices_left
    dearer = demo_text().replace("flap = 310", "flap = 330")
    assert book.take_workbook(dearer).prices_left
    assert book.workshop().entered["prices"]["pumps"]["flap"] == 310


def test_what_differs_under_the_same_name_gets_a_number(book: Book) -> None:
    first = book.take_workbook(demo_text(), pump_name="25 mm")
    changed = demo_text().replace('stroke = "7 mm"', 'stroke = "6 mm"').replace('"20.3 L"', '"20.4 L"')
    again = book.take_workbook(changed, pump_name="25 mm")
    assert again.pump == first.pump
    assert again.renamed["build 'flap'"] == "flap (2)"
    flap = book.find("build", "flap (2)", links={"pump": first.pump.id})
    assert flap is not None
    assert flap.entered["waste_valve"]["stroke"] == "6 mm"
    runs = book.list("run", links={"build": flap.id}, limit=500)
    assert runs.total == sum(run.build == "flap" for run in load_workbook(demo_text()).runs)
    assert len(book.workbook(first.pump.id).builds) == 3


def test_a_workbook_that_cannot_be_read_leaves_the_book_alone(book: Book) -> None:
    broken = demo_text().replace('duration = "1:00"', 'duration = "one minute"')
    with pytest.raises(InputError, match="duration"):
        book.take_workbook(broken)
    with pytest.raises(WorkbookError, match="not valid TOML"):
        book.take_workbook("[build")
    with pytest.raises(WorkbookError, match="empty"):
        book.take_workbook("  ")
    assert len(book.changes()) == 1


def test_a_text_is_never_the_name_of_a_file(book: Book, tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "secret.toml"
    path.write_text(demo_text(), encoding="utf-8")
    with pytest.raises(WorkbookError, match="not valid TOML"):
        book.take_workbook(str(path))


def test_one_pump_is_read_without_the_others(book: Book) -> None:
    shop = small_shop(book)
    other = book.add("pump", "50 mm", {})
    book.add("build", "flap", FLAP, links={"pump": other.id})
    one = book.workbook(shop.pump.id)
    assert (set(one.builds), [run.name for run in one.runs]) == ({"flap", "poppet"}, ["flap 3"])
    assert (one.pump, one.title, one.revision_of) == ("25 mm", "25 mm", {"poppet": "flap"})
    assert book.workbook(other.id).runs == ()
    bare = book.workbook(shop.pump.id, with_sites=False)
    assert (list(one.sites), bare.sites, bare.runs) == (["Upper Hazel"], {}, one.runs)


def test_all_pumps_together_keep_their_builds_apart(book: Book) -> None:
    shop = small_shop(book)
    other = book.add("pump", "50 mm", {})
    twin = book.add("build", "flap", FLAP, links={"pump": other.id})
    book.add("run", "flap 3", RUN, links={"build": twin.id, "rig": shop.rig.id})
    both = book.workbook()
    assert list(both.builds) == ["flap", "poppet", "flap (50 mm)"]
    assert [(run.name, run.build) for run in both.runs] == [("flap 3", "flap"), ("flap 3 (50 mm)", "flap (50 mm)")]


def test_units_are_the_workshop_s_where_the_pump_has_none(book: Book) -> None:
    shop = small_shop(book)
    book.change("workshop", book.workshop().id, version=1, entered={"units": "us"})
    assert book.workbook(shop.pump.id).units == "us"
    book.change("pump", shop.pump.id, version=1, entered={"units": "metric"})
    assert book.workbook(shop.pump.id).units == "metric"


def test_a_run_made_for_one_trial_is_not_compared_in_another(book: Book) -> None:
    shop = small_shop(book)
    links = {"old_build": shop.flap.id, "new_build": shop.poppet.id}
    book.add("trial", "second", TRIAL, links=links)
    book.add("run", "free", RUN, links={"build": shop.flap.id, "rig": shop.rig.id})
    workbook = book.workbook(shop.pump.id)
    assert [run.name for run in workbook.runs_of_trial(workbook.trials["lift"])] == ["flap 3", "free"]
    assert [run.name for run in workbook.runs_of_trial(workbook.trials["second"])] == ["free"]


def test_a_pump_without_builds_has_a_workbook_but_no_file(book: Book) -> None:
    pump = book.add("pump", "25 mm", {})
    assert book.workbook(pump.id).builds == {}
    with pytest.raises(InputError, match="no build yet"):
        book.give_workbook(pump.id)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[build.poppet]", '[build.poppet]\nrevision_of = "flop"', "build 'poppet', revision_of"),
        ("[build.poppet]", '[build.poppet]\nrevision_of = "poppet"', "build 'poppet', revision_of"),
        ('name = "flap 1"', 'name = "flap 1"\ntrial = "vaste"', 'Did you mean "waste"'),
        ("[workbook]", "[workbook]\npump = 3", "pump"),
    ],
)
def test_links_of_a_workbook_are_checked(old: str, new: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        load_workbook(demo_text().replace(old, new, 1))
    assert said in str(caught.value)


def test_revisions_in_a_circle_and_strange_trials_are_refused() -> None:
    circle = demo_text().replace("[build.flap]", '[build.flap]\nrevision_of = "poppet"', 1)
    circle = circle.replace("[build.poppet]", '[build.poppet]\nrevision_of = "flap"', 1)
    with pytest.raises(InputError, match="come from itself"):
        load_workbook(circle)
    third = demo_text().replace("[trial.waste]", third_build() + "[trial.waste]", 1)
    strange = third.replace('name = "flap 1"\nbuild = "flap"', 'name = "flap 1"\nbuild = "third"\ntrial = "waste"')
    with pytest.raises(InputError, match="that trial compares flap and poppet, not third"):
        load_workbook(strange)


def third_build() -> str:
    """A table of one more build."""
    from clackwork.book.toml_text import table_lines

    return "\n".join(table_lines("[build.third]", POPPET)) + "\n\n"


def test_differences_are_told_with_both_values_as_typed(book: Book) -> None:
    shop = small_shop(book)
    valve = {**FLAP["waste_valve"], "stroke": "8 mm", "mass": "0.140 kg", "tilt": "5 deg"}
    del valve["material_density"]
    other = {**FLAP, "waste_valve": valve, "delivery_valve": {"bore": "22 mm", "loss_coefficient": 4}, "note": "x"}
    second = book.add("build", "flap B", other, links={"pump": shop.pump.id})
    assert book.differences(shop.flap.id, second.id) == (
        "stroke 7 mm -> 8 mm",
        "material density 4200 kg/m3 -> (not given)",
        "delivery valve bore 20 mm -> 22 mm",
        "tilt (not given) -> 5 deg",
    )
    assert book.differences(shop.flap.id, shop.poppet.id) == (
        "waste valve hinged flap -> guided poppet",
        "mass 140 g -> 30 g",
        "stroke 7 mm -> 8 mm",
    )
    assert book.differences(shop.flap.id, shop.flap.id) == ()


def test_a_book_s_workbook_equals_the_one_of_a_file() -> None:
    """The fields compared here are all there are, so that a new one is not forgotten."""
    assert {field.name for field in dataclasses.fields(Workbook)} == {*HELD, "text", "pump"}
    assert {"fall", "drive_pipe"} <= set(RIG) & set(SITE)


def test_further_sizes_of_a_switch_keep_their_builds_by_name(book: Book) -> None:
    """The first pair is linked; a further one follows its builds' names, and is left out once a build is gone."""
    build = demo_text()[demo_text().index("[build.flap]") : demo_text().index("[build.poppet]")]
    more = build.replace("build.flap", "build.small") + "\n" + build.replace("build.flap", '"build"."small new"')
    text = demo_text() + "\n" + more + '\n[[switch.poppet.pair]]\nold = "small"\nnew = "small new"\n'
    was = load_workbook(text)
    pump = book.take_workbook(text).pump
    assert was.switches["poppet"].pairs == (("flap", "poppet"), ("small", "small new"))
    assert book.workbook(pump.id).switches == was.switches == book.workbook().switches
    assert load_workbook(book.give_workbook(pump.id)).switches == was.switches
    small = book.find("build", "small")
    assert small is not None
    book.remove("build", small.id, version=small.version)
    assert book.workbook(pump.id).switches["poppet"].pairs == (("flap", "poppet"),)


def test_a_part_needs_one_place_and_a_build(book: Book) -> None:
    shop = small_shop(book)
    entered = {"part": "waste_rubber", "material": "rubber", "fitted": "2024-05-03"}
    with pytest.raises(InputError, match="site and rig"):
        book.add("part", "first", entered, links={"build": shop.flap.id})
    with pytest.raises(InputError, match="needs the build"):
        book.add("part", "first", entered, links={"site": shop.site.id})
    look = {"date": "2024-08-03", "outcome": "runs on", "wear": "0.5 mm ± 0.1 mm", "beats": 7000000}
    made = book.add("part", "first", {**entered, "look": [look]}, links={"build": shop.flap.id, "site": shop.site.id})
    assert made.links["pump"] == shop.pump.id and made.si["look_1_wear_m"] == pytest.approx(5e-4)
    (part,) = book.workbook(shop.pump.id).parts
    assert part.looks[0].beats == 7e6 and part.place == shop.site.name
