"""What authors' rules of thumb would have chosen, to be shown beside what the engine found."""

from __future__ import annotations

from dataclasses import dataclass

from clackwork.site.design import RuleOfThumb

_FOOT = 0.3048
_PER_MINUTE = 1.0 / 60.0
_LITRES_A_MINUTE = 1e-3 / 60.0
_USAID_BORES = ((36.0, 0.030), (60.0, 0.040), (90.0, 0.050))
"""Most delivered flow [L/min] and bore of the delivery pipe [m]: USAID Water for the World RWS.4.D.5."""


@dataclass(frozen=True)
class Chosen:
    """Figures of a design that rules speak of.

    Attributes
    ----------
    fall, lift : float
        [m]
    drive_bore : float
        [m]
    beat_rate : float
        [1/s]
    delivered_flow : float
        Of all pumps [m3/s].
    volume_per_beat : float
        Delivered by one pump in one beat [m3].
    """

    fall: float
    lift: float
    drive_bore: float
    beat_rate: float
    delivered_flow: float
    volume_per_beat: float


def rules_for(chosen: Chosen) -> tuple[RuleOfThumb, ...]:
    """What each author's rule says for a design; those from memory say so."""
    return (*_length_rules(chosen), *_other_rules(chosen))


def _length_rules(chosen: Chosen) -> list[RuleOfThumb]:
    """Length of the drive pipe."""
    fall, lift, bore = chosen.fall, chosen.lift, chosen.drive_bore
    found = [
        ("Calvert 1957, from memory", 150.0 * bore, 1000.0 * bore),
        ("Building Trades Pocketbook", 25.0 * _FOOT, 50.0 * _FOOT),
        ("Globo Rural 2023", 5.0 * fall, 12.0 * fall),
        ("common rule, from memory", 6.0 * fall, 12.0 * fall),
        ("Eytelwein, from memory", lift + 0.3 * lift / fall, lift + 0.3 * lift / fall),
    ]
    if chosen.beat_rate > 0.0:
        by_beats = 900.0 * fall / ((60.0 * chosen.beat_rate) ** 2 * bore)
        found.append(("900 H/(N² D), from memory", by_beats, by_beats))
    return [RuleOfThumb("drive pipe length", author, low, high, "length") for author, low, high in found]


def _other_rules(chosen: Chosen) -> list[RuleOfThumb]:
    """Beats, lift, source, delivery pipe and vessel."""
    bore, flow, beat = chosen.drive_bore, chosen.delivered_flow, chosen.volume_per_beat
    found = [
        RuleOfThumb("beats", "NC State EBAE 161-92", 20.0 * _PER_MINUTE, 100.0 * _PER_MINUTE, "beat_rate"),
        RuleOfThumb("beats", "Ethiopian hydram paper", 40.0 * _PER_MINUTE, 120.0 * _PER_MINUTE, "beat_rate"),
        RuleOfThumb("beats", "Globo Rural 2023", 60.0 * _PER_MINUTE, 80.0 * _PER_MINUTE, "beat_rate"),
        RuleOfThumb("lift", "USAID RWS.4.D.5", 3.0 * chosen.fall, 25.0 * chosen.fall, "head"),
        RuleOfThumb("least fall", "USAID RWS.4.D.5", 0.5, 0.5, "head"),
        RuleOfThumb("least fall", "Cyclopedia", 2.0 * _FOOT, 2.0 * _FOOT, "head"),
        RuleOfThumb("efficiency", "USAID RWS.4.D.5", 0.33, 0.66, "fraction"),
        RuleOfThumb("least source flow", "USAID RWS.4.D.5", 7.0 * flow, 7.0 * flow, "volume_flow"),
        RuleOfThumb("delivery pipe bore", "Globo Rural 2023", bore / 3.0, bore / 2.0, "small_length"),
    ]
    least = next((wide for most, wide in _USAID_BORES if flow <= most * _LITRES_A_MINUTE), None)
    if least is not None:
        found.append(RuleOfThumb("delivery pipe bore", "USAID RWS.4.D.5", least, least, "small_length"))
    if beat > 0.0:
        found.append(RuleOfThumb("air vessel", "common rule, from memory", 20.0 * beat, 50.0 * beat, "volume"))
    return found
