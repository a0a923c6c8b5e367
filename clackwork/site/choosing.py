"""Which candidates are promised, and which of the promised become the few choices that are shown."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

from clackwork.site.candidates import Asked, Candidate
from clackwork.site.design import PipeCheck, Zone
from clackwork.site.laid import Laid
from clackwork.site.limits import PASSED_OVER, answer_of, with_conditions
from clackwork.site.site import Promise, Reason

MOST_CHOICES, USUAL_CHOICES = 5, 4
"""Shown at most, and as long as others are only middle ways."""
MOST_PROMISED = 6
"""Candidates promised with all draws."""
AS_GOOD = 0.90
"""Share of the most delivered from which fewer pumps are taken instead: common practice, no published source."""
_ANSWERS = ("no", "only if", "yes")
_FLOWS_APART, _LENGTHS_APART = 0.15, 0.30
"""Shares by which two designs of like pumps and pipe differ clearly: common practice, no published source."""
_MIDDLE_SHARE = 0.5
"""Of the best delivery, below which a middle way is none: common practice, no published source."""


@dataclass(frozen=True)
class Checked:
    """What a candidate's pipes and vessel were found to be.

    Attributes
    ----------
    vessel_volume : float
        Least advised for one pump [m3].
    zones : tuple of Zone
    checks : tuple of PipeCheck
    reasons : tuple of Reason
        What they and the ground say.
    """

    vessel_volume: float
    zones: tuple[Zone, ...]
    checks: tuple[PipeCheck, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class Promised:
    """A laid candidate and what is promised of it; checked once it may become a choice."""

    laid: Laid
    promise: Promise
    checked: Checked | None = None

    @property
    def rank(self) -> int:
        """Of its answer: 0 for no, 2 for yes."""
        found = self.checked.reasons if self.checked is not None else ()
        return min(_ANSWERS.index(self.promise.answer), _ANSWERS.index(answer_of(with_conditions(found, ()))))

    @property
    def by_low(self) -> Candidate:
        """The candidate with flows on the safe side: the 5 % point delivered, the 95 % point drawn."""
        candidate = self.laid.candidate
        return replace(
            candidate,
            delivered_flow=self.promise.delivered_flow.low / candidate.pumps,
            drawn_flow=self.promise.water_needed.high / candidate.pumps,
        )


Picked = list[tuple[Promised, tuple[str, ...]]]


def worth_promising(tried: Sequence[Promised], asked: Asked, aims: Sequence[str]) -> list[Laid]:
    """The best of every aim in turn by a first promise of few draws, without such as are alike."""
    safe = replace(asked, spare=1.0)

    def merit(each: Promised) -> tuple[float, ...]:
        return (float(each.rank), *safe.merit(each.by_low, each.laid.candidate.aim))

    by_aim = [
        sorted((each for each in tried if each.laid.candidate.aim == aim), key=merit, reverse=True) for aim in aims
    ]
    found: list[Laid] = []
    for turn in zip_longest(*by_aim):
        for each in turn:
            new = each is not None and not any(_alike(each.laid, other) for other in found)
            if each is not None and new and len(found) < MOST_PROMISED:
                found.append(each.laid)
    return found


def _alike(one: Laid, other: Laid) -> bool:
    """Whether nobody would call them two designs."""
    a, b = one.candidate, other.candidate
    if (a.twin.build.name, a.pumps) != (b.twin.build.name, b.pumps):
        return False
    first, second = a.layout.drive_pipe, b.layout.drive_pipe
    if (first.pipe.series, first.pipe.size) != (second.pipe.series, second.pipe.size):
        return False
    if (one.site.feed is None) != (other.site.feed is None):
        return False
    near = _near(a.all_drawn, b.all_drawn, _FLOWS_APART) and _near(a.all_delivered, b.all_delivered, _FLOWS_APART)
    return near and _near(first.length, second.length, _LENGTHS_APART)


def _near(one: float, other: float, share: float) -> bool:
    return abs(one - other) <= share * max(one, other)


def pick(
    promised: Sequence[Promised], asked: Asked, aims: Sequence[str], cost: Callable[[Laid], float] | None
) -> Picked:
    """The choices and what each is best for: the best of every aim, then what differs clearly from them.

    Parameters
    ----------
    promised : sequence of Promised
        One at least.
    asked : Asked
    aims : sequence of str
        Delivery first.
    cost : callable or None
        Yearly cost of a laid candidate.

    Returns
    -------
    list of (Promised, tuple of str)
        Best for delivery first.
    """
    best_for: dict[int, list[str]] = {}
    for aim in aims:
        at = _best(promised, asked, aim, cost)
        best_for.setdefault(at, []).append(aim)
    picked = [(promised[at], tuple(names)) for at, names in best_for.items()]
    most = picked[0][0]
    rest = sorted(
        (each for at, each in enumerate(promised) if at not in best_for),
        key=lambda each: (each.rank, each.promise.delivered_flow.low),
        reverse=True,
    )
    for each in rest:
        worth = each.promise.delivered_flow.low >= _MIDDLE_SHARE * most.promise.delivered_flow.low > 0.0
        enough = min(most.rank, each.rank) > 0 and (worth or (asked.wanted_flow is not None and each.rank == 2))
        apart = not any(_alike(each.laid, other.laid) for other, _ in picked)
        new = not any(_same_kind(each.laid, other.laid) for other, _ in picked)
        if enough and apart and new and len(picked) < USUAL_CHOICES:
            picked.append((each, ()))
    return picked[:MOST_CHOICES]


def passed_over(
    promised: Sequence[Promised], asked: Asked, aims: Sequence[str], cost: Callable[[Laid], float] | None
) -> dict[str, Reason]:
    """By aim, what would have been best for it but for what stands against it; only where that is not the one chosen."""
    found = {}
    for aim in aims:
        chosen = promised[_best(promised, asked, aim, cost)]
        free = promised[_best(promised, asked, aim, cost, by_answer=False)]
        if free.rank >= chosen.rank:
            continue
        if aim == "delivery":
            better = free.promise.daily_delivery.middle - chosen.promise.daily_delivery.middle
            what, kind = "gain", "daily_volume_flow"
        elif aim == "least_water":
            better = chosen.promise.water_needed.middle - free.promise.water_needed.middle
            what, kind = "spared", "volume_flow"
        else:
            assert cost is not None
            better, what, kind = 1.0 - cost(free.laid) / cost(chosen.laid), "spared", "fraction"
        if better > 0.0:
            name = f"passed_over_{aim}{'_pipes' if free.promise.answer == chosen.promise.answer else ''}"
            found[aim] = Reason(name, "note", PASSED_OVER[name], {what: (better, kind)})
    return found


def _same_kind(one: Laid, other: Laid) -> bool:
    """Whether pump, number and material of the drive pipe are the same: one middle way of a kind is enough."""
    a, b = one.candidate, other.candidate
    materials = (a.layout.drive_pipe.pipe.material, b.layout.drive_pipe.pipe.material)
    return (a.twin.build.name, a.pumps) == (b.twin.build.name, b.pumps) and materials[0] == materials[1]


def _best(
    promised: Sequence[Promised],
    asked: Asked,
    aim: str,
    cost: Callable[[Laid], float] | None,
    *,
    by_answer: bool = True,
) -> int:
    """Place of the best for an aim: a yes before an only if before a no, then by flows on the safe side."""
    safe = replace(asked, price=None, spare=1.0)
    ranks = [each.rank if by_answer else 0 for each in promised]
    among = [at for at, rank in enumerate(ranks) if rank == max(ranks)]
    if aim == "delivery":
        most = max(promised[at].promise.delivered_flow.low for at in among)
        good = [at for at in among if promised[at].promise.delivered_flow.low >= AS_GOOD * most]
        return min(good, key=lambda at: (promised[at].laid.candidate.pumps, -promised[at].promise.delivered_flow.low))

    def merit(at: int) -> tuple[float, ...]:
        each = promised[at]
        return safe.merit(each.by_low, aim, cost(each.laid) if cost is not None else None)

    return max(among, key=merit)
