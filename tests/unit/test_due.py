"""What is due where pumps stand; the intervals are common practice, no published source."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from clackwork.answers_json import reason_words
from clackwork.errors import InputError
from clackwork.site.due import CARE, PartDue, Place, care_items, care_with, last_done, what_is_due
from clackwork.site.standing import Standing, months_after
from clackwork.site.visit import SiteReadings, Visit

TODAY = date(2025, 6, 1)


def visit(day: date, purpose: str = "service", **more: Any) -> Visit:
    return Visit(name=more.pop("name", f"{purpose} {day}"), site="A", date=day, purpose=purpose, **more)


def told(*places: Place, ahead: int = 30) -> list[tuple[str, str, int]]:
    return [(one.site, one.care or one.what, one.days_over) for one in what_is_due(places, TODAY, ahead=ahead)]


def test_months_end_where_the_month_is_short() -> None:
    assert months_after(date(2024, 1, 31), 1) == date(2024, 2, 29)
    assert months_after(date(2023, 11, 30), 15) == date(2025, 2, 28)


def test_nothing_is_due_where_no_pump_stands() -> None:
    assert told(Place("A", stale="Run 'x' came after the fit.")) == []


def test_a_pump_not_commissioned_within_a_fortnight_is_due() -> None:
    assert told(Place("A", Standing(date=date(2025, 5, 1)))) == [("A", "commissioning", 17)]
    done = visit(date(2025, 5, 2), "commissioning", readings=SiteReadings(beats=60, beats_duration=60.0))
    assert told(Place("A", Standing(date=date(2025, 5, 1)), (done,))) == []


def test_care_comes_by_months_or_by_beats_whichever_is_first() -> None:
    done = visit(date(2024, 10, 1))
    by_months = told(Place("A", None, (visit(date(2023, 1, 1), "commissioning"), done)), ahead=365)
    assert ("A", "rubbers", -122) in by_months  # a year after 1 October
    # two beats a second make 30 million in 173 days: 23 March
    fast = what_is_due([Place("A", None, (done,), beat_rate=2.0)], TODAY)
    rubbers = next(one for one in fast if one.care == "rubbers")
    assert rubbers.date == date(2025, 3, 23)
    assert reason_words(rubbers.reason, "metric") == (
        "change the rubbers of both valves: about 42\N{NO-BREAK SPACE}000\N{NO-BREAK SPACE}000 beats since it was done last"
    )


def test_a_service_that_names_its_care_counts_for_that_alone() -> None:
    place = Place("A", None, (visit(date(2023, 5, 1), "commissioning"), visit(date(2025, 5, 1), care=("flush",))))
    assert last_done(place, "flush") == date(2025, 5, 1)
    assert last_done(place, "rubbers") == date(2023, 5, 1)
    assert {care for _, care, over in told(place) if over > 0} == {"rubbers", "tuning", "paint"}


def test_readings_out_of_band_are_followed_up_by_any_later_visit() -> None:
    odd = visit(date(2025, 5, 1), "commissioning", name="odd")
    place = Place("A", None, (odd,), out_of_band=("odd",))
    assert told(place)[0] == ("A", "out_of_band", 17)
    again = Place("A", None, (odd, visit(date(2025, 5, 3), "fault")), out_of_band=("odd",))
    assert "out_of_band" not in {what for _, what, _ in told(again)}


def test_the_most_urgent_comes_first_over_all_sites() -> None:
    odd = visit(date(2025, 5, 1), "commissioning", name="odd")
    places = (
        Place("stale", None, (visit(date(2025, 5, 20), "commissioning"),), stale="The engine has been changed."),
        Place("care", None, (visit(date(2023, 5, 1), "commissioning"),)),
        Place("new", Standing(date=date(2025, 5, 1))),
        Place("odd", None, (odd,), out_of_band=("odd",)),
        Place("old", Standing(date=date(2024, 7, 1), warranty_months=12), (visit(date(2025, 5, 20), "commissioning"),)),
    )
    order = [site for site, _, _ in told(*places)]
    assert list(dict.fromkeys(order)) == ["odd", "new", "care", "stale", "old"]


@pytest.mark.parametrize(
    ("months", "said"),
    [
        (14, []),  # three months ahead
        (12, ["the warranty ends in 30 days"]),
        (11, ["the warranty ends in 0 days"]),
        (10, []),  # a month ago
    ],
)
def test_a_warranty_is_told_before_it_ends(months: int, said: list[str]) -> None:
    start = date(2024, 7, 1)
    found = what_is_due(
        [Place("A", Standing(date=start, warranty_months=months), (visit(TODAY, "commissioning"),))], TODAY
    )
    assert [reason_words(one.reason, "metric") for one in found] == said


def test_a_workshop_has_its_own_intervals() -> None:
    items = {item.id: item for item in care_with({"rubbers": {"months": 24.0, "beats": 0.0}})}
    assert items["rubbers"].months == 24.0 and items["rubbers"].beats is None
    assert items["flush"] == next(item for item in care_items() if item.id == "flush")
    with pytest.raises(InputError, match="polish"):
        care_with({"polish": {"months": 1.0}})
    with pytest.raises(InputError, match="months"):
        care_with({"flush": {"months": -1.0}})


def test_what_the_owner_does_is_not_on_the_workshop_s_list() -> None:
    owner = {item.id for item in care_items() if item.who == "owner"}
    assert owner and set(CARE) > owner
    place = Place("A", None, (visit(date(2020, 1, 1), "commissioning"),))
    assert not owner & {care for _, care, _ in told(place)}


def test_a_part_is_to_be_looked_at_and_then_renewed() -> None:
    part = PartDue("first rubber, rubber of the waste valve", date(2025, 6, 11), date(2025, 12, 1))
    place = Place("A", parts=(part,))
    found = [one for one in told(place) if one[1].startswith("part")]
    assert found == [("A", "part_look", -10)]
    late = Place("A", parts=(PartDue("first rubber", date(2025, 1, 1), date(2025, 5, 22)),))
    assert ("A", "part_renew", 10) in told(late)
    [due] = [one for one in what_is_due([late], TODAY) if one.what == "part_renew"]
    assert reason_words(due.reason, "metric") == "first rubber: renew it, as one in ten would have failed"
