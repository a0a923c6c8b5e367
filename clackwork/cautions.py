"""Cautions as data: what to say, when it applies, and where it is shown; page, terminal and paper read them here."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Caution:
    """One thing that can hurt people, a pump or a stream.

    Attributes
    ----------
    id : str
        Its name in `Promise.cautions` and in JSON.
    applies_to : tuple of str
        Topics it belongs to.
    words : str
        What is said, to a person, in full sentences.
    shown_beside : tuple of str
        Figures and sections it stands next to.
    """

    id: str
    applies_to: tuple[str, ...]
    words: str
    shown_beside: tuple[str, ...]


_ALL = (
    Caution(
        "peak_pressure",
        ("peak_pressure",),
        "Every beat sends a pressure far above that of the lift through body, pipe and gauge. Choose pipe, "
        "fittings and "
        "gauge by the highest pressure shown here, not by the height of the tank; gauges rated for several "
        "times the "
        "lift have burst.",
        ("peak_head", "surge_head", "pressure_margin", "rating_head"),
    ),
    Caution(
        "dead_head",
        ("dead_head", "peak_pressure"),
        "Never shut the delivery of a running pump unless a gauge is fitted and the vessel, valve and line "
        "are rated for "
        "the shut-off pressure. Let the pressure off before you open anything.",
        ("shut_off_head", "dead_head"),
    ),
    Caution(
        "plastic_pipe",
        ("plastic_pipe", "pressure_test"),
        "Trapped air stores energy and plastic breaks into pieces: do not use plastic pipe as a vessel of "
        "compressed air. "
        "Its rating falls in the sun, and repeated surges tire it well below that rating.",
        ("rating_head", "air_vessel"),
    ),
    Caution(
        "pressure_test",
        ("pressure_test",),
        "Test with water, never with air, to about one and a half times the highest pressure, and let the "
        "pressure off "
        "before you touch a joint. Rules for pressure equipment may apply to the vessel.",
        ("pressure_margin", "air_vessel"),
    ),
    Caution(
        "untreated_water",
        ("untreated_water",),
        "Water from a spring or stream is untreated: treat it before anyone drinks it. Parts that touch "
        "drinking water "
        "must meet the local standard and be free of lead, and nothing may flow back into a mains.",
        ("daily_delivery",),
    ),
    Caution(
        "water_rights",
        ("water_rights",),
        "Ask the authority before taking water: rights, the least flow a stream must keep, dams and fish "
        "are its "
        "business, and local codes and licensed practice come before anything printed here.",
        ("water_needed", "water_there"),
    ),
    Caution(
        "frost",
        ("frost",),
        "Frost bursts a full pump. Drain it or keep it running through the cold, and bury the line.",
        ("installation", "care"),
    ),
    Caution(
        "moving_valve",
        ("moving_valve",),
        "Keep fingers out of the waste valve: it shuts without warning and with the weight of the whole "
        "drive pipe behind "
        "it. Anchor the pump and the pipe before the first beat.",
        ("beat_rate", "installation"),
    ),
    Caution(
        "work_in_water",
        ("work_in_water",),
        "Do not work in water or on banks alone, and not when the stream is in flood.",
        ("installation", "care"),
    ),
)

CAUTIONS: dict[str, Caution] = {caution.id: caution for caution in _ALL}
"""Every caution by id."""


def cautions_for(topic: str) -> tuple[Caution, ...]:
    """The cautions that belong to a topic, most serious first; empty for a topic that has none."""
    return tuple(caution for caution in _ALL if topic in caution.applies_to)


def cautions_beside(figure: str) -> tuple[Caution, ...]:
    """The cautions shown next to a figure, such as "peak_head"."""
    return tuple(caution for caution in _ALL if figure in caution.shown_beside)
