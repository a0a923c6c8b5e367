"""An endurance test planned, in words, as lines for the terminal, and as plain data."""

from __future__ import annotations

from typing import Any

from clackwork.answers_json import keyed
from clackwork.cautions import CAUTIONS
from clackwork.endurance_job import EndurancePlan, StandFound, shortest
from clackwork.life.endurance import EnduranceTest
from clackwork.life.part_record import A_MONTH
from clackwork.life.stress import priors_for
from clackwork.quantities import format_quantity
from clackwork.site.due import SECONDS_A_DAY
from clackwork.site.visit import PARTS

CAUTION_IDS = ("peak_pressure", "moving_valve")
HEAD = (
    "Fall at the rig",
    "Parts",
    "Beats of each",
    "Side by side",
    "One after another",
    "By the middle of the exponent",
)
_SHOWN_PARTS = (1, 2, 4, 8, 16, 32, 64)
_MILLION = 1e6
EXPONENT_SOURCE = "common practice, no published source"


def beats_words(beats: float) -> str:
    """A count of beats: "31.6 million beats", "40 000 beats"."""
    if beats >= 0.1 * _MILLION:
        return f"{beats / _MILLION:.3g} million beats" if beats < 1e9 else f"{beats / _MILLION:.0f} million beats"
    return f"{beats:.0f} beats"


def time_words(duration: float) -> str:
    """A long time [s] in days or months: "9 days", "14 months"."""
    months, days = duration * A_MONTH, duration / SECONDS_A_DAY
    if months >= 2.0:
        return f"{months:.3g} months" if months < 36.0 else f"{months / 12.0:.3g} years"
    return "1 day" if round(days) == 1 else f"{days:.0f} days" if days > 1.0 else f"{duration / 3600.0:.1f} hours"


def life_words(plan: EndurancePlan) -> str:
    """The life to be shown: "12 months at Upper Hazel, 31.1 million beats"."""
    asked = plan.asked
    if asked.months is None:
        return f"{beats_words(plan.beats)} at {asked.site}"
    months = "1 month" if asked.months == 1.0 else f"{asked.months:g} months"
    return f"{months} at {asked.site}, {beats_words(plan.beats)}"


def answer_words(plan: EndurancePlan, system: str) -> str:
    """The answer in a sentence or two."""
    asked, best = plan.asked, shortest(plan)
    share = (
        f"{100 * asked.reliability:.3g} of 100 parts last {life_words(plan)}, at {100 * asked.level:.3g} % confidence"
    )
    if best is None:
        return f"No test at this rig can be planned to show that {share}: see why under each fall."
    stand = next(one for one in plan.stands if best in one.tests)
    fall = format_quantity(stand.fall, "head", system)
    parts = "one part" if best.parts == 1 else f"{best.parts} parts side by side"
    return (
        f"Run {parts} at {fall} of fall for {beats_words(best.beats)}{' each' if best.parts > 1 else ''}, "
        f"{time_words(best.duration)} without stopping. If none fails, that shows that {share}."
    )


def stand_words(stand: StandFound, system: str) -> str:
    """What the engine says of the rig at one fall."""
    fall, highest, rating = (
        format_quantity(one, "head", system) for one in (stand.fall, stand.highest_head, stand.rating_head)
    )
    if stand.why_not == "does not beat":
        return f"At {fall} of fall the pump does not beat as it is tuned: nothing can be run there."
    heads = f"the highest head in the drive pipe is {highest}, its rating {rating}"
    if stand.why_not:
        return f"At {fall} of fall {heads}: no test is planned there. Fit a stronger pipe or stay lower."
    rate = format_quantity(stand.beat_rate, "beat_rate", system)
    return f"At {fall} of fall: {rate}, landings of {stand.stress:.3g} J/m² on the seat; {heads}."


def assumption_words(plan: EndurancePlan, system: str) -> list[str]:
    """Everything the plan takes for granted."""
    asked, priors = plan.asked, priors_for(plan.asked.material)
    low, middle, high = plan.exponent
    learnt = (
        f"records of {_counted(plan.records, 'part')} narrowed it by {100 * plan.learnt:.0f} %"
        if plan.learnt > 0.05
        else f"records of {_counted(plan.records, 'part')} leave it at its prior"
        if plan.records
        else "no record of such a part says more"
    )
    counted = (
        "at every fall one beat counts as one"
        if plan.exponents == (0.0, 0.0)
        else f"counted with are {plan.exponents[0]:.2g} where the rig lands harder than the site and "
        f"{plan.exponents[1]:.2g} where it lands softer"
    )
    shape = (
        "Shape of the life 1: chance, the careful choice as long as no part runs for less than the life, and none does here."
        if asked.shape == 1.0
        else f"Shape of the life {asked.shape:g}, as asked for: it has to be known from parts that did fail."
    )
    rate, held = (
        format_quantity(plan.beat_rate, "beat_rate", system),
        format_quantity(plan.back_pressure, "head", system),
    )
    return [
        f"A life falls with the power {low:.2g} to {high:.2g} of how hard the part lands (90 %, middle {middle:.2g}); its "
        f"prior is {priors.exponent.middle:g} ± {priors.exponent.spread:g}, {EXPONENT_SOURCE}; {learnt}; {counted}.",
        "How hard a part lands is the energy of the waste valve over the area of its seat, from the engine: "
        f"{plan.stress:.3g} J/m² at {asked.site}, at {rate}.",
        shape,
        "The pump runs all the time, at the rig and at the site. At the rig its drive pipe and tuning stay the same, "
        f"against {held}, or a fifth more than the fall where that is higher.",
        "A part that fails in the test is no failure of the plan: enter it, and life is learnt from it.",
        *(f"Left out: {one}" for one in plan.left_out),
    ]  # fmt: skip


def _counted(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def shown_tests(stand: StandFound) -> list[EnduranceTest]:
    """The tests of a fall that are shown: a few numbers of parts up to the most, with the most."""
    return [one for one in stand.tests if one.parts in _SHOWN_PARTS or one is stand.tests[-1]]


def test_rows(plan: EndurancePlan, system: str) -> list[list[str]]:
    """A row for each fall and number of parts, under :data:`HEAD`."""
    rows = []
    for stand in plan.stands:
        for one in shown_tests(stand):
            rows.append(
                [
                    format_quantity(stand.fall, "head", system),
                    str(one.parts),
                    beats_words(one.beats),
                    time_words(one.duration),
                    time_words(one.parts * one.duration),
                    time_words(one.duration * one.hastened / (stand.stress / plan.stress) ** plan.exponent[1]),
                ]
            )
    return rows


def endurance_words(plan: EndurancePlan, system: str) -> dict[str, Any]:
    """All that the page shows, as plain data."""
    return {
        "answer": answer_words(plan, system),
        "head": list(HEAD),
        "rows": test_rows(plan, system),
        "stands": [stand_words(one, system) for one in plan.stands],
        "assumed": assumption_words(plan, system),
        "cautions": [CAUTIONS[one].words for one in CAUTION_IDS],
    }


def endurance_lines(plan: EndurancePlan, system: str) -> list[str]:
    """The plan for a terminal, answer first."""
    lines = [f"{PARTS[plan.asked.part]}, {plan.asked.material}, build {plan.asked.build}:", answer_words(plan, system)]
    for stand in plan.stands:
        lines += ["", stand_words(stand, system)]
        for one in shown_tests(stand):
            parts = _counted(one.parts, "part")
            each = " each" if one.parts > 1 else ""
            lines.append(f"  {parts}: {beats_words(one.beats)}{each}, {time_words(one.duration)}")
    lines += ["", "Taken for granted:", *(f"  {one}" for one in assumption_words(plan, system)), ""]
    return lines + [f"! {CAUTIONS[one].words}" for one in CAUTION_IDS]


def endurance_json(plan: EndurancePlan, system: str) -> dict[str, Any]:
    """The plan as plain data, the unit in every key."""
    asked = plan.asked
    low, middle, high = plan.exponent
    return {
        "answer": answer_words(plan, system),
        "build": asked.build,
        "part": asked.part,
        "material": asked.material,
        "site": asked.site,
        "rig": asked.rig,
        "life_beats": plan.beats,
        "reliability": asked.reliability,
        "confidence": asked.level,
        "shape": asked.shape,
        **keyed("site_beat_rate", plan.beat_rate, "beat_rate", system),
        "site_landing_energy_j_m2": plan.stress,
        **keyed("rig_back_pressure_head", plan.back_pressure, "head", system),
        "exponent": {"low": low, "middle": middle, "high": high},
        "exponent_counted": {"harder": plan.exponents[0], "softer": plan.exponents[1]},
        "exponent_narrowed": plan.learnt,
        "records": plan.records,
        "left_out": list(plan.left_out),
        "stands": [_stand_json(one, system) for one in plan.stands],
        "assumed": assumption_words(plan, system),
        "cautions": [{"id": one, "words": CAUTIONS[one].words} for one in CAUTION_IDS],
    }


def _stand_json(stand: StandFound, system: str) -> dict[str, Any]:
    return {
        **keyed("fall", stand.fall, "head", system),
        "why_not": stand.why_not,
        **keyed("beat_rate", stand.beat_rate, "beat_rate", system),
        "landing_energy_j_m2": stand.stress,
        **keyed("highest_head", stand.highest_head, "head", system),
        **keyed("rating_head", stand.rating_head, "head", system),
        "tests": [
            {"parts": one.parts, "beats": one.beats, "hours": one.duration / 3600.0, "hastened": one.hastened}
            for one in stand.tests
        ],
    }
