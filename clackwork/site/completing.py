"""All that a choice says beyond its promise: checks, tuning bands, vessel, tank, months, rules of thumb, quotation."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from clackwork.ram.batch import Progress
from clackwork.ram.engine import BeatResult, shut_off_head
from clackwork.site.candidates import by_length, tuning_bands
from clackwork.site.check_reasons import check_reason
from clackwork.site.choosing import Checked, Picked, Promised
from clackwork.site.costing import bill_of, quote
from clackwork.site.design import Choice, MonthPlan, PipeCheck, RuleOfThumb, Zone
from clackwork.site.high_points import air_points, air_reasons, drain_points, frost_reasons
from clackwork.site.laid import Laid
from clackwork.site.laying import LINE_FITTINGS
from clackwork.site.limits import answer_of, conditions_of, with_conditions
from clackwork.site.line_checks import check_drive_pipe, check_line, zone_line
from clackwork.site.line_heads import LineDuty
from clackwork.site.needs import Needs
from clackwork.site.place import Place
from clackwork.site.prices import Alternative, PriceList
from clackwork.site.promise import SECONDS_A_DAY
from clackwork.site.quick_plans import Path
from clackwork.site.rules_of_thumb import Chosen, rules_for
from clackwork.site.season import plan_months, stream_reason
from clackwork.site.site import Promise, Reason
from clackwork.site.source_flow import flow_by_month, months_known
from clackwork.site.standpipe import beat_volume, check_supply_pipe
from clackwork.site.stock import Stock
from clackwork.site.storage import size_tank
from clackwork.site.vessel import least_vessel

_SEASON_RUNS = 49
"""Tunings that a plan of months tries for each number of pumps, about."""
_HELD_BACK = 0.9
"""Share of the source that is counted on, and of that what is drawn, at which its reading is said to bound the pump: common
practice, no published source."""


@dataclass(frozen=True)
class Completion:
    """What every choice of one search shares.

    Attributes
    ----------
    place : Place
    stock : Stock
    paths : sequence of (Path, float)
        Of the coarse stage, each with its length of supply pipe.
    prices : PriceList or None
    alternatives : sequence of Alternative
    workers : int or None
    """

    place: Place
    stock: Stock
    paths: Sequence[tuple[Path, float]]
    prices: PriceList | None
    alternatives: Sequence[Alternative]
    workers: int | None

    def checked(self, promised: Sequence[Promised]) -> tuple[list[Promised], int]:
        """All with their vessels and pipes checked, and the engine runs that took."""
        found, runs = [], 0
        for each in promised:
            laid = each.laid
            still = replace(laid.case, supply=replace(laid.case.supply, feed=None, plan_area=math.inf))
            volume, ripple, more = least_vessel(still, laid.candidate.pumps, _point(each))
            zones, checks, reasons = self._checked(each, ripple)
            found.append(replace(each, checked=Checked(volume, zones, checks, tuple(reasons))))
            runs += more + 2
        return found, runs

    def choices(
        self, picked: Picked, passed_over: Mapping[str, Reason], progress: Progress
    ) -> tuple[list[Choice], int]:
        """Every picked candidate as a choice, with what was passed over for each aim, and the engine runs that took."""
        heads = [(each.laid.candidate, _point(each).vessel_head) for each, _ in picked]
        beating = [at for at, (each, _) in enumerate(picked) if _point(each).delivered_flow > 0.0]
        found, runs = tuning_bands([heads[at] for at in beating], self.place.source.value, self.workers)
        bands = dict(zip(beating, found, strict=True))
        made = []
        for at, (each, best_for) in enumerate(picked):
            notes = [passed_over[aim] for aim in best_for if aim in passed_over]
            choice, more = self._choice(each, best_for, notes, bands.get(at))
            runs += more
            made.append(choice)
            progress(at + 1, len(picked))
        return made, runs

    def _choice(
        self,
        each: Promised,
        best_for: tuple[str, ...],
        notes: Sequence[Reason],
        bands: tuple[tuple[float, float], tuple[float, float]] | None,
    ) -> tuple[Choice, int]:
        """One choice with all that is to be said of it, and the engine runs that took."""
        laid, promise, checked = each.laid, each.promise, each.checked
        assert checked is not None
        candidate, place = laid.candidate, self.place
        months, month_reasons, more = self._months(laid)
        conditions = conditions_of(
            promise, laid.site, place.survey.ground_to_source, least_tuning=not candidate.serves and candidate.is_least
        )
        said = with_conditions((*promise.reasons, *checked.reasons, *month_reasons, *notes), conditions)
        at_tuning = ((candidate.stroke,) * 2, (candidate.mass,) * 2)
        stroke_band, mass_band = bands or at_tuning
        choice = Choice(
            best_for=best_for,
            build=laid.twin.build,
            twin_name=laid.twin.build.name,
            pumps=candidate.pumps,
            drive_pipe=laid.site.drive_pipe,
            feed=laid.site.feed,
            standpipe_diameter=laid.standpipe_diameter,
            zones=checked.zones,
            site=laid.site,
            promise=replace(promise, answer=answer_of(said)),
            stroke_band=stroke_band,
            mass_band=mass_band,
            vessel_volume=checked.vessel_volume,
            tank_volume=self._tank(each, months),
            checks=checked.checks,
            rules=self._rules(each),
            months=months,
            quotation=None,
            reasons=said,
            by_length=by_length(candidate, self._curve(laid)),
        )
        return self._quoted(choice), more

    def _checked(self, each: Promised, ripple: float) -> tuple[tuple[Zone, ...], tuple[PipeCheck, ...], list[Reason]]:
        """Zones of the line, checks of every pipe, and what they and the ground say."""
        laid, promise, place = each.laid, each.promise, self.place
        wall, pumps, point = place.survey.wall_temperature, laid.candidate.pumps, _point(each)
        shut = shut_off_head(laid.case)
        duty = LineDuty(
            flow=promise.delivered_flow.high,
            water=place.water,
            fittings_loss=LINE_FITTINGS,
            shut_off_head=shut if shut > 0.0 else None,
            wall_temperature=wall,
            swing_head=ripple,
            beat_rate=pumps * promise.beat_rate.middle,
        )
        sized = laid.zones[0].pipe
        classes = [one for one in self.stock.delivery_pipes if (one.material, one.size) == (sized.material, sized.size)]
        zones = zone_line(place.route, classes, duty)
        checks = [check_drive_pipe(laid.case, point, promise, wall_temperature=wall)]
        feed = laid.site.feed
        if feed is not None and point.is_beating:
            lent = pumps * beat_volume(replace(laid.case, vessel_head=point.vessel_head))
            drawn = promise.water_needed.high
            depth, wide = laid.site.submergence, laid.standpipe_diameter
            checks.append(check_supply_pipe(feed, drawn, lent, depth, wide, place.water, wall_temperature=wall))
        checks += check_line(place.route, zones, duty)
        reasons = [reason for check in checks for reason in check.reasons]
        reasons += air_reasons(air_points(place.route, zones, promise.delivered_flow.low))
        reasons += frost_reasons(place.route, place.survey.frost_depth)
        reasons.append(stream_reason(promise.water_needed.middle, place.source.value + place.survey.stream_keeps))
        reasons += self._held_back(promise)
        return zones, tuple(checks), reasons

    def _held_back(self, promise: Promise) -> list[Reason]:
        """That how well the source is known bounds what the pump may draw, where it does."""
        there, counted_on = self.place.source.value, self.place.drawn_at_most
        if counted_on > _HELD_BACK * there or promise.water_needed.high < _HELD_BACK * counted_on:
            return []
        figures = {"there": (there, "volume_flow"), "counted_on": (counted_on, "volume_flow")}
        return [check_reason("source_held_back", "note", **figures)]

    def _months(self, laid: Laid) -> tuple[tuple[MonthPlan, ...], tuple[Reason, ...], int]:
        """What to do month by month where the course of the source is known."""
        survey, candidate = self.place.survey, laid.candidate
        if not months_known(survey):
            return (), (), 0
        flows = [flow.value for flow in flow_by_month(survey)]
        needs: Needs | list[float] | None = survey.needs
        if (survey.needs is None or survey.needs.highest_daily <= 0.0) and survey.wanted_flow is not None:
            needs = [SECONDS_A_DAY * survey.wanted_flow] * 12
        bounds = self.stock.bounds_of(candidate.twin.build)
        season = plan_months(
            replace(laid.case, line=None),
            laid.site.line,
            candidate.pumps,
            bounds,
            flows,
            needs,
            workers=self.workers,
        )
        return season.months, season.reasons, _SEASON_RUNS * candidate.pumps

    def _tank(self, each: Promised, months: tuple[MonthPlan, ...]) -> float | None:
        """Tank advised [m3]; None where no need was said, or no tank mends that too little comes."""
        needs = self.place.survey.needs
        if needs is None:
            return None
        low, middle = each.promise.delivered_flow.low, each.promise.delivered_flow.middle
        sure = low / middle if middle > 0.0 else 0.0
        supply = [sure * month.delivered_daily for month in months] or [SECONDS_A_DAY * low] * 12
        size = size_tank(supply, needs)
        return size if math.isfinite(size) else None

    def _rules(self, each: Promised) -> tuple[RuleOfThumb, ...]:
        """What authors would have chosen."""
        laid, promise, point = each.laid, each.promise, _point(each)
        chosen = Chosen(
            fall=self.place.fall,
            lift=self.place.lift,
            drive_bore=laid.site.drive_pipe.pipe.bore,
            beat_rate=promise.beat_rate.middle,
            delivered_flow=promise.delivered_flow.middle,
            volume_per_beat=point.delivered_flow / point.beat_rate if point.beat_rate > 0.0 else 0.0,
        )
        return rules_for(chosen)

    def _curve(self, laid: Laid) -> list[Path]:
        """Paths of the coarse stage with this pump and pipe, on every length tried."""
        pipe, name = laid.site.drive_pipe.pipe, laid.candidate.twin.build.name
        return [
            path
            for path, _ in self.paths
            if path.layout.twin.build.name == name
            and (path.layout.drive_pipe.pipe.series, path.layout.drive_pipe.pipe.size) == (pipe.series, pipe.size)
        ]

    def _quoted(self, choice: Choice) -> Choice:
        """The choice with what it costs, where there is a price list."""
        if self.prices is None:
            return choice
        flow = choice.promise.delivered_flow.middle
        airs = sum(not point.is_carried for point in air_points(self.place.route, choice.zones, flow))
        bill = bill_of(choice, air_valves=airs, drains=len(drain_points(self.place.route)))
        quotation = quote(bill, self.prices, SECONDS_A_DAY * flow, self.alternatives)
        return replace(choice, quotation=quotation)


def _point(each: Promised) -> BeatResult:
    """The operating point of a laid candidate."""
    assert each.laid.point is not None
    return each.laid.point
