"""What to do month by month as the source falls."""

from __future__ import annotations

from itertools import pairwise

import pytest
from invented_twin import demo, twin_of

from clackwork.answers_json import reason_words
from clackwork.errors import InputError
from clackwork.ram.engine import RamCase
from clackwork.ram.tuning import TuningBounds
from clackwork.site.needs import Need, Needs
from clackwork.site.season import (
    MONTH_WORDS,
    Season,
    TunedRun,
    best_run,
    plan_months,
    shares_of_stream,
    stream_reason,
)

L_MIN = 1.0 / 60000.0
FLOWS = tuple(flow * L_MIN for flow in (40, 38, 35, 30, 26, 22, 18, 14, 9, 6, 20, 35))
BOUNDS = TuningBounds(0.0045, 0.0105, 0.08, 0.24)


@pytest.fixture(scope="module")
def season() -> Season:
    site, twin = demo().sites["Upper Hazel"], twin_of(demo().builds["flap"])
    case = RamCase(twin.build, site.drive_pipe, site.supply, site.surroundings)
    needs = Needs((Need("sheep", 20.0, 0.01), Need("garden", 50.0, 0.003, months=(5, 6, 7, 8))))
    return plan_months(case, site.line, 2, BOUNDS, FLOWS, needs)


def test_no_month_draws_more_than_the_source_gives(season: Season) -> None:
    assert [month.month for month in season.months] == list(range(1, 13))
    for month in season.months:
        assert month.water_drawn <= month.source_flow
        assert month.words in MONTH_WORDS
        assert (month.pumps == 0) is (month.words == "all off") is (month.delivered_daily == 0.0)
        assert BOUNDS.least_stroke <= month.stroke <= BOUNDS.most_stroke
        assert BOUNDS.least_mass <= month.mass <= BOUNDS.most_mass


def test_plenty_leaves_the_design_alone_and_drought_shuts_it(season: Season) -> None:
    january, october = season.months[0], season.months[9]
    assert (january.words, january.pumps) == ("as designed", 2)
    assert (january.stroke, january.mass) == (0.007, 0.14)
    assert october.words == "all off" and FLOWS[9] < season.least_drawn
    assert [reason.id for reason in season.reasons] == ["source_below_least"]
    assert "L/min" in reason_words(season.reasons[0], "metric")


def test_a_falling_source_never_brings_more_than_two_hundredths_more(season: Season) -> None:
    # a tuning is left alone for less than two hundredths
    falling = sorted(season.months, key=lambda month: -month.source_flow)
    for more, less in pairwise(falling):
        if more.words != "as designed":
            assert less.delivered_daily <= 1.02 * more.delivered_daily


def test_needs_stand_beside_what_comes(season: Season) -> None:
    assert season.months[0].needed_daily == pytest.approx(0.2)
    assert season.months[5].needed_daily == pytest.approx(0.35)


def test_a_share_of_the_stream_counts_what_has_to_stay(season: Season) -> None:
    shares = shares_of_stream(season.months, 10.0 * L_MIN)
    assert shares[0] == pytest.approx(season.months[0].water_drawn / (50.0 * L_MIN))
    assert shares[9] == 0.0 and max(shares) < 1.0
    said = reason_words(stream_reason(8.0 * L_MIN, 20.0 * L_MIN), "us")
    assert "40.0 %" in said and "authority" in said


@pytest.mark.parametrize(
    ("run", "words"),
    [
        (TunedRun(2, 0.007, 0.14, 2.0, 1.0), "as designed"),
        (TunedRun(2, 0.0071, 0.141, 2.0, 1.0), "as designed"),
        (TunedRun(2, 0.006, 0.14, 2.0, 1.0), "shorter stroke"),
        (TunedRun(2, 0.007, 0.10, 2.0, 1.0), "less weight"),
        (TunedRun(2, 0.006, 0.10, 2.0, 1.0), "shorter stroke, less weight"),
        (TunedRun(2, 0.008, 0.10, 2.0, 1.0), "other tuning"),
        (TunedRun(1, 0.007, 0.14, 2.0, 1.0), "pumps off"),
        (TunedRun(1, 0.006, 0.14, 2.0, 1.0), "pumps off, other tuning"),
    ],
)
def test_words_say_what_has_to_be_done(run: TunedRun, words: str) -> None:
    from clackwork.site.season import _words

    assert _words(run, (2, 0.007, 0.14)) == words


def test_the_easiest_of_runs_as_good_is_taken() -> None:
    designed = (2, 0.007, 0.14)
    runs = (
        TunedRun(2, 0.007, 0.14, 3.0, 9.0),
        TunedRun(2, 0.006, 0.10, 2.01, 5.0),
        TunedRun(2, 0.006, 0.14, 2.0, 5.0),
        TunedRun(1, 0.007, 0.14, 1.5, 4.0),
    )
    assert best_run(runs, 10.0, designed) == runs[0]
    assert best_run(runs, 6.0, designed) == runs[2]  # less than two hundredths less, and one thing to set
    assert best_run(runs, 4.5, designed) == runs[3]
    assert best_run(runs, 3.0, designed) is None


def test_a_year_has_twelve_months() -> None:
    site, twin = demo().sites["Upper Hazel"], twin_of(demo().builds["flap"])
    case = RamCase(twin.build, site.drive_pipe, site.supply, site.surroundings)
    with pytest.raises(InputError, match="source_flows"):
        plan_months(case, site.line, 1, BOUNDS, FLOWS[:11])
    with pytest.raises(InputError, match="needs"):
        plan_months(case, site.line, 1, BOUNDS, FLOWS, (1.0,))
