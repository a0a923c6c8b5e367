"""What the checks of a design have to say, as data: words by id, names in braces are values."""

from __future__ import annotations

from clackwork.site.site import Reason

CHECK_REASONS = {
    # drive pipe
    "drive_pipe_too_weak": "the drive pipe can see {highest_head} of head and is rated for {rating_head} at the "
    "temperature of its wall: a stronger pipe, or shade",
    "drive_pipe_too_hot": "a drive pipe whose wall reaches {wall_temperature} has no rating left: bury it, shade it, or "
    "use steel",
    "column_parts": "the pressure in the body falls to that of boiling water at each beat, to {lowest_head}: cavities "
    "form and collapse, which wears seats and wall",
    "plastic_tires": "published laws give a plastic drive pipe {shortest} to {longest} under the beats; they disagree "
    "widely, and {beats_a_year} beats a year lie beyond every test they rest on, so none can be trusted: use steel",
    "plastic_untested": "no published test goes as far as the {beats_a_year} beats a year that this plastic pipe would "
    "take, so nothing can be said of how long it lasts: use steel",
    "plastic_in_line": "the beats reach the plastic delivery line as a swing of {swing_head}; published laws give it "
    "{shortest} to {longest} and disagree widely, beyond all tests: a larger vessel makes the swing smaller",
    "steel_not_judged": "no life is given for steel: its wall carries a swing of {swing_stress} where threads, welds and "
    "rust decide, of which nothing is known here; look at them yearly",
    # supply pipe and standpipe
    "supply_pipe_too_narrow": "the supply pipe loses {loss} of head and the mouth of the drive pipe is {submergence} under "
    "the source's level: a wider supply pipe, or a lower mouth",
    "standpipe_too_narrow": "the level in the standpipe falls by {drop} and the mouth of the drive pipe is only "
    "{submergence} under the source's level, so that it draws air: at least {least_diameter} wide",
    "supply_pipe_too_weak": "the supply pipe can see {highest_head} of head and is rated for {rating_head}",
    # delivery line
    "line_too_weak": "the delivery line can see {highest_head} of head at {distance} from the pump and is rated for "
    "{rating_head} there: a stronger class",
    "line_too_hot": "a delivery line whose wall reaches {wall_temperature} has no rating left: bury it",
    "line_dead_head": "if its outlet is shut while the pump runs, the head rises to {dead_head} and the delivery line is "
    "rated for {rating_head}: leave the outlet open, with an overflow, or fit a relief valve",
    "line_surges": "as the valve at the tank shuts, the head rises by {surge}",
    "line_sucks": "the line passes {height} of height at {distance} from the pump, where it sucks by {suction}: air comes "
    "in there and dirt through any leak; lead it lower, or raise the outlet",
    "line_boils": "at {distance} from the pump the line stands so high that the water boils in it: lead it lower, or "
    "raise the outlet",
    "line_sucks_in_surge": "after the valve at the tank has shut the line sucks by up to {suction} at {distance} from the "
    "pump: a slower valve",
    "pump_lifts_over_summit": "the line passes {height} above the pump, higher than its outlet: the pump has to lift the "
    "water over that point before it runs down",
    "air_gathers": "air gathers at the high point {distance} from the pump: the water runs at {velocity} and carries it "
    "down only from {clearing_velocity} on: an air valve there",
    # frost
    "bury": "the ground freezes {frost_depth} deep: bury the line at least {bury_depth} deep, or as the local code says if "
    "that is more",
    "drain": "where it cannot be buried it has to run or be drained: a drain at the pump and at {drains} low points of the "
    "line",
    "drain_one": "where it cannot be buried it has to run or be drained: a drain at the pump and at the low point "
    "of the line",
    "drain_at_pump": "where it cannot be buried it has to run or be drained: a drain at the pump; the line has no low point "
    "on its way",
    # stream
    "source_held_back": "of the {there} that the source gives in the driest time only {counted_on} is counted on, as it is "
    "not known better, and that bounds the pump: measured better, more may be promised",
    "takes_much_of_stream": "in its driest month the pump takes {share} of what the source gives; what has to stay in the "
    "stream is for the authority to say",
    "source_below_least": "months of the year in which the source gives less than the {least} that the smallest tuning "
    "draws: {months}; shut the pump then, or let it run part of the day from a full basin",
}  # fmt: skip
"""Words of every reason of the checks by id; names in braces are its values."""


def check_reason(name: str, hardness: str, **values: tuple[float, str]) -> Reason:
    """A reason of the checks: an id of :data:`CHECK_REASONS`, how hard it is, and (SI value, kind) of every name in its
    words."""
    return Reason(name, hardness, CHECK_REASONS[name], values)
