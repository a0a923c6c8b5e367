"""Records of a book: made, changed, taken away, found, listed; who is told what when two change the same."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from workshop_books import FLAP, POPPET, RIG, RUN, TRIAL, small_shop

from clackwork.book import Book, Conflict, InUse, NameTaken, NotThere
from clackwork.errors import InputError


def test_a_run_keeps_the_text_typed_beside_the_si_figure(book: Book) -> None:
    shop = small_shop(book)
    run = book.get("run", shop.run.id)
    assert run.entered == RUN
    assert run.si["duration_s"] == 120.0
    assert run.si["waste_volume_m3"] == pytest.approx(0.0245)
    assert run.si["gauge_pressure_pa"] == pytest.approx(58000.0)
    assert run.si["beats"] == 116.0
    assert run.links == {"pump": shop.pump.id, "build": shop.flap.id, "rig": shop.rig.id, "trial": shop.trial.id}
    assert (run.version, run.made_by, run.changed_by, run.removed) == (1, "Ann", "Ann", False)
    assert abs((datetime.now(UTC) - run.made_at).total_seconds()) < 60.0


def test_figures_of_parts_are_flat_and_say_their_unit(book: Book) -> None:
    shop = small_shop(book)
    assert shop.flap.si["waste_valve_stroke_m"] == pytest.approx(0.007)
    assert shop.flap.si["delivery_valve_loss_coefficient"] == 4.0
    assert shop.rig.si["instruments_gauge_full_scale_pa"] == pytest.approx(4e5)
    assert shop.site.si["fall_spread_m"] == pytest.approx(0.03 / 3**0.5)
    assert shop.trial.si["margin"] == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("kind", "entered", "said"),
    [
        ("run", {**RUN, "duration": "2:00 m"}, "run 'x', duration"),
        ("run", {**RUN, "beets": 3}, 'Did you mean "beats"'),
        ("run", {**RUN, "gauge_pressure": "9 bar"}, "the gauge of rig 'yard' ends at 4 bar"),
        ("run", {**RUN, "build": "flap"}, "given as a link"),
        ("build", {**FLAP, "air_vessel": {"volume": "3 m"}}, "build 'x', air_vessel, volume"),
        ("build", {}, "waste_valve"),
        ("rig", {**RIG, "fall": 2.1}, "text with its unit"),
        ("trial", {**TRIAL, "margin": "500 %"}, "trial 'x', margin"),
        ("pump", {"colour": "green"}, "no such field"),
        ("pump", {"note": float("nan")}, "it must be text"),
        ("pump", {"note": "\ud800"}, "half a character"),
        ("pump", {"note": "x" * 10_001}, "at most 10000 characters"),
        ("pump", {"note": {"a": {"b": {"c": {"d": {"e": {}}}}}}}, "deep"),
        ("twin", {}, "the program makes it itself"),
        ("barrel", {}, "it must be one of"),
    ],
)
def test_what_cannot_be_read_is_refused_and_nothing_written(book: Book, kind: str, entered: object, said: str) -> None:
    shop = small_shop(book)
    links = {
        "run": {"build": shop.flap.id, "rig": shop.rig.id},
        "build": {"pump": shop.pump.id},
        "trial": {"old_build": shop.flap.id, "new_build": shop.poppet.id},
        "twin": {"build": shop.flap.id},
    }
    before = book.changes(limit=500)
    with pytest.raises(InputError) as caught:
        book.add(kind, "x", entered, links=links.get(kind))  # type: ignore[arg-type]
    assert said in str(caught.value)
    assert book.changes(limit=500) == before


@pytest.mark.parametrize("name", ["", "  ", "x" * 81, "two\nlines", "a\0b", 7])
def test_names_that_are_none(book: Book, name: object) -> None:
    with pytest.raises(InputError, match="name of the pump"):
        book.add("pump", name, {})  # type: ignore[arg-type]


def test_links_are_checked(book: Book) -> None:
    shop = small_shop(book)
    other = book.add("pump", "50 mm", {})
    strange = book.add("build", "big flap", FLAP, links={"pump": other.id})
    with pytest.raises(InputError, match="needs the build"):
        book.add("run", "x", RUN, links={"rig": shop.rig.id})
    with pytest.raises(InputError, match="needs the rig"):
        book.add("run", "x", RUN, links={"build": shop.flap.id})
    with pytest.raises(NotThere, match="no rig number"):
        book.add("run", "x", RUN, links={"build": shop.flap.id, "rig": shop.flap.id})
    with pytest.raises(NotThere):
        book.add("build", "x", FLAP, links={"pump": 2**40 % 2**31 + 77})
    with pytest.raises(InputError, match="number of a record"):
        book.add("build", "x", FLAP, links={"pump": 2**40})
    with pytest.raises(InputError, match="belongs to another pump"):
        book.add("trial", "x", TRIAL, links={"old_build": shop.flap.id, "new_build": strange.id})
    with pytest.raises(InputError, match="builds must differ"):
        book.add("trial", "x", TRIAL, links={"old_build": shop.flap.id, "new_build": shop.flap.id})
    with pytest.raises(InputError, match="does not compare"):
        third = book.add("build", "third", FLAP, links={"pump": shop.pump.id})
        book.add("run", "x", RUN, links={"build": third.id, "rig": shop.rig.id, "trial": shop.trial.id})
    with pytest.raises(InputError, match="cannot come from itself"):
        book.change("build", shop.flap.id, version=1, links={"revision_of": shop.poppet.id})
    with pytest.raises(InputError, match="stays with its pump"):
        book.change("build", shop.poppet.id, version=1, links={"pump": other.id, "revision_of": None})


def test_names_are_alone_where_they_must_be(book: Book) -> None:
    shop = small_shop(book)
    with pytest.raises(NameTaken, match="another build has that name"):
        book.add("build", "flap", FLAP, links={"pump": shop.pump.id})
    other = book.add("pump", "50 mm", {})
    assert book.add("build", "flap", FLAP, links={"pump": other.id}).name == "flap"
    with pytest.raises(NameTaken):
        book.add("rig", "yard", RIG)
    with pytest.raises(NameTaken):
        book.change("pump", other.id, version=1, name="25 mm")
    gone = book.remove("site", shop.site.id, version=1)
    assert book.add("site", gone.name, gone.entered).id != gone.id
    with pytest.raises(InputError, match="one workshop"):
        book.add("workshop", "second", {})


def test_a_request_sent_twice_makes_one_record(book: Book) -> None:
    shop = small_shop(book)
    links = {"build": shop.flap.id, "rig": shop.rig.id}
    first = book.add("run", "sent", RUN, links=links, request_id="phone-1")
    again = book.add("run", "sent", RUN, links=links, request_id="phone-1")
    assert first == again
    assert book.list("run", links={"build": shop.flap.id}).total == 2
    with pytest.raises(InputError, match="not a pump"):
        book.add("pump", "sent", {}, request_id="phone-1")


def test_a_change_makes_a_version_and_leaves_the_rest(book: Book) -> None:
    shop = small_shop(book)
    changed = book.change("run", shop.run.id, version=1, entered={**RUN, "beats": 117}, by="Bo")
    assert (changed.version, changed.name, changed.links) == (2, "flap 3", shop.run.links)
    assert (changed.made_by, changed.changed_by) == ("Ann", "Bo")
    assert changed.si["beats"] == 117.0
    moved = book.change("run", shop.run.id, version=2, links={"trial": None, "build": shop.poppet.id})
    assert moved.links == {"pump": shop.pump.id, "build": shop.poppet.id, "rig": shop.rig.id}
    assert book.change("run", shop.run.id, version=3, name="flap 3") == moved


def test_the_later_of_two_is_told_and_nothing_is_lost(book: Book) -> None:
    shop = small_shop(book)
    theirs = book.change("run", shop.run.id, version=1, entered={**RUN, "beats": 117}, by="Bo")
    mine = {**RUN, "beats": 118}
    with pytest.raises(Conflict, match="The run 'flap 3' was changed by Bo") as caught:
        book.change("run", shop.run.id, version=1, entered=mine, by="Ann")
    assert caught.value.theirs == theirs == book.get("run", shop.run.id)
    assert caught.value.mine["entered"] == mine
    saved = book.change("run", shop.run.id, version=theirs.version, entered=mine, by="Ann")
    assert (saved.version, saved.si["beats"]) == (3, 118.0)
    assert [one.after["entered"]["beats"] for one in book.changes(kind="run")] == [118, 117, 116]


def test_saving_what_stands_there_already_is_no_conflict(book: Book) -> None:
    shop = small_shop(book)
    theirs = book.change("run", shop.run.id, version=1, entered={**RUN, "beats": 117}, by="Bo")
    assert book.change("run", shop.run.id, version=1, entered={**RUN, "beats": 117}, by="Ann") == theirs


def test_what_others_rest_on_stays(book: Book) -> None:
    shop = small_shop(book)
    with pytest.raises(InUse, match="build 'flap', build 'poppet', trial 'lift' and 1 more rest on it"):
        book.remove("pump", shop.pump.id, version=1)
    with pytest.raises(InUse, match="run 'flap 3' rests on it"):
        book.remove("rig", shop.rig.id, version=1)
    with pytest.raises(InUse, match="workshop"):
        book.remove("workshop", book.workshop().id, version=1)
    assert book.remove("run", shop.run.id, version=1, by="Bo").removed
    assert book.remove("run", shop.run.id, version=1).version == 2
    assert book.remove("rig", shop.rig.id, version=1).removed
    assert book.list("run").total == 0
    assert [one.name for one in book.list("run", removed=True).records] == ["flap 3"]
    with pytest.raises(NotThere, match="taken away"):
        book.change("run", shop.run.id, version=2, name="other")
    with pytest.raises(Conflict, match="taken away by Bo"):
        book.change("run", shop.run.id, version=1, name="other")
    with pytest.raises(InputError, match="taken away"):
        book.add("run", "x", RUN, links={"build": shop.flap.id, "rig": shop.rig.id})


def test_a_pump_goes_with_all_and_comes_back_with_all(book: Book) -> None:
    shop = small_shop(book)
    before = book.workbook(shop.pump.id)
    book.remove("pump", shop.pump.id, version=1, with_all=True)
    assert [book.list(kind).total for kind in ("pump", "build", "trial", "run", "rig", "site")] == [0, 0, 0, 0, 1, 1]
    back = book.undo_together(book.changes()[0].id)
    assert len(back) == 5
    assert book.workbook(shop.pump.id) == before


def test_a_rig_cannot_be_changed_under_its_runs(book: Book) -> None:
    shop = small_shop(book)
    low = {**RIG, "instruments": {"gauge": {"name": "low gauge", "full_scale": "0.4 bar"}}}
    with pytest.raises(InputError, match="run 'flap 3', which stood on it, could no longer be read"):
        book.change("rig", shop.rig.id, version=1, entered=low)
    assert book.change("rig", shop.rig.id, version=1, entered={**RIG, "fall": "2.2 m"}).version == 2


def test_a_trial_keeps_the_builds_its_runs_were_made_with(book: Book) -> None:
    shop = small_shop(book)
    third = book.add("build", "third", POPPET, links={"pump": shop.pump.id})
    with pytest.raises(InUse, match="with them were made run 'flap 3'"):
        book.change("trial", shop.trial.id, version=1, links={"old_build": third.id})
    assert book.change("trial", shop.trial.id, version=1, links={"new_build": third.id}).version == 2


def test_lists_count_numbers_as_numbers(book: Book) -> None:
    for name in ("flap 10", "Flap 9", "flap 1", "ärmel", "zinc"):
        book.add("pump", name, {"note": "Ordered 10% more" if name == "zinc" else ""})
    page = book.list("pump")
    assert [one.name for one in page.records] == ["flap 1", "Flap 9", "flap 10", "zinc", "ärmel"]
    assert [one.name for one in book.list("pump", offset=1, limit=2).records] == ["Flap 9", "flap 10"]
    assert book.list("pump", offset=1, limit=2).total == 5
    assert [one.name for one in book.list("pump", order="changed", limit=2).records] == ["zinc", "ärmel"]
    assert [one.name for one in book.list("pump", search="FLAP 1").records] == ["flap 1", "flap 10"]
    assert [one.name for one in book.list("pump", search="ÄRM").records] == ["ärmel"]
    assert [one.name for one in book.list("pump", search="10%").records] == ["zinc"]
    assert book.list("pump", search="_").total == 0


def test_lists_by_link(book: Book) -> None:
    shop = small_shop(book)
    assert book.list("trial", links={"build": shop.flap.id}).total == 1
    assert book.list("trial", links={"build": shop.poppet.id}).total == 1
    assert book.list("run", links={"build": shop.poppet.id}).total == 0
    assert book.list("run", links={"pump": shop.pump.id, "trial": shop.trial.id}).total == 1
    assert book.list("run", links={"pump": 2**40}).total == 0
    assert book.counts("run", "build") == {shop.flap.id: 1}
    assert book.counts("build", "pump", links={"pump": shop.pump.id}) == {shop.pump.id: 2}
    with pytest.raises(InputError, match="a rig is linked by"):
        book.list("rig", links={"pump": shop.pump.id})


@pytest.mark.parametrize(
    "asked", [{"offset": -1}, {"limit": 0}, {"limit": 501}, {"offset": 2**40}, {"order": "size"}, {"search": "x" * 201}]
)
def test_pages_have_limits(book: Book, asked: dict[str, object]) -> None:
    with pytest.raises(InputError):
        book.list("run", **asked)  # type: ignore[arg-type]


def test_find_by_name(book: Book) -> None:
    shop = small_shop(book)
    assert book.find("build", "flap", links={"pump": shop.pump.id}) == shop.flap
    assert book.find("build", "flip", links={"pump": shop.pump.id}) is None
    assert book.find("rig", "yard\0") is None


@pytest.mark.parametrize("number", [0, -1, 2**31, 2**70, True, "1", None])
def test_numbers_that_are_none(book: Book, number: object) -> None:
    with pytest.raises(NotThere, match="There is no pump number"):
        book.get("pump", number)  # type: ignore[arg-type]


def test_files_are_kept_byte_for_byte(book: Book) -> None:
    shop = small_shop(book)
    content = bytes(range(256)) * 100
    links = {"run": shop.run.id}
    kept = book.keep_file("logger.csv", content, media_type="text/csv", links=links, request_id="up-1")
    again = book.keep_file("logger.csv", content, media_type="text/csv", links=links, request_id="up-1")
    assert kept == again
    assert book.file_bytes(kept.id) == content
    assert kept.entered["size_bytes"] == 25600
    noted = book.change("file", kept.id, version=1, entered={**kept.entered, "note": "of the new logger"})
    assert noted.entered["note"] == "of the new logger"
    with pytest.raises(InputError, match="only its note"):
        book.change("file", kept.id, version=2, entered={**noted.entered, "sha256": "0"})
    with pytest.raises(InputError, match="media type"):
        book.keep_file("x", b"", media_type="text")
