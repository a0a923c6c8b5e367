"""The form of every kind of record. A test holds each list against the readers of a workbook."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from clackwork.pipes import Pipe, catalogue, material_names
from clackwork.site.costing import HOURS
from clackwork.site.costing import PARTS as PRICED_PARTS
from clackwork.site.due import care_items
from clackwork.site.stock import usual_stock
from clackwork.site.visit import CONDITIONS, PARTS
from clackwork.web.fields import Choice, Field, Form, Group, LinkField, OnlyFor
from clackwork.web.life_fields import part_form, switch_form
from clackwork.web.survey_fields import survey_groups
from clackwork.workbook_instruments import ROLES as INSTRUMENT_ROLES
from clackwork.workbook_instruments import SORTS, own_fields

POPPET, FLAP = "guided poppet", "hinged flap"
RUN_KIND_WORDS = {
    "delivering": "delivering: pumps up to the tank or against a throttle",
    "shut_beating": "delivery shut, still beating",
    "dead_head": "dead head: delivery shut, pressure at its end",
    "held_open": "waste valve held open, no beats",
}
RUN_KIND_SHORT = {
    "delivering": "delivering",
    "shut_beating": "delivery shut",
    "dead_head": "dead head",
    "held_open": "held open",
}
FIGURE_WORDS = {
    "delivered_flow": "delivered flow",
    "waste_flow": "waste flow",
    "drawn_flow": "drawn flow",
    "beat_rate": "beat rate",
    "water_per_beat": "water spilled per beat",
    "daubuisson_efficiency": "efficiency (d'Aubuisson)",
    "rankine_efficiency": "efficiency (Rankine)",
    "shut_off_head": "shut-off head",
}
ANCHORING_WORDS = {
    "joints": "free to move at its joints",
    "throughout": "held all along, as in concrete",
    "one_end": "held at one end only",
}

NOTE = Group("Note", (Field("note", "Anything worth remembering", "note"),))


def _choices(words: Mapping[str, str], empty: str = "") -> tuple[Choice, ...]:
    """Choices of a mapping, an empty one first when it has words."""
    first = (Choice("", empty),) if empty else ()
    return (*first, *(Choice(value, said) for value, said in words.items()))


def _kind_words(words: Mapping[str, str]) -> tuple[Choice, ...]:
    return _choices(words, "choose one")


def _waste_valve() -> tuple[Group, ...]:
    poppet, flap = OnlyFor("waste_valve.kind", (POPPET,)), OnlyFor("waste_valve.kind", (FLAP,))

    def of(key: str, label: str, kind: str, help: str = "", needed: bool = False, only: OnlyFor | None = None) -> Field:
        return Field(f"waste_valve.{key}", label, kind, help, needed, only_for=only)

    sorts = {POPPET: "guided poppet: moves straight off its seat", FLAP: "hinged flap: swings on a hinge"}
    main = (
        Field("waste_valve.kind", "Sort of valve", "choice", "", True, _kind_words(sorts)),
        of("mass", "Mass of the moving part", "mass", "Weighed dry, with its weights.", True),
        of(
            "stroke", "Stroke", "small_length", "From shut to the open stop; of a flap at the middle of the seat.", True
        ),
        of("seat_bore", "Bore of the seat", "small_length", "", True),
        of("mass_distance", "Hinge to centre of mass", "small_length", "", True, flap),
        of("seat_distance", "Hinge to middle of the seat", "small_length", "", True, flap),
        of("spring_rate", "Spring rate", "stiffness", "Of a spring that pushes the valve open.", False, poppet),
        of("spring_preload", "Spring force at the open stop", "force", "", False, poppet),
        of("hinge_stiffness", "Stiffness of the hinge", "rotational_stiffness", "Draws the flap shut.", False, flap),
        of("tilt", "Tilt from upright", "angle", "Left out: 0."),
        of("material_density", "Density of the moving part", "density", "Left out: steel."),
    )
    share = "Left out: found by the fit of the twin."
    fine = (
        of("inertia", "Moment of inertia about the hinge", "inertia", "Left out: as a disc.", False, flap),
        of("discharge_coefficient", "Discharge coefficient", "number", share),
        of("closing_coefficient", "Closing coefficient", "number", share),
        of("damping", "Damping [N s/m]", "number", "Left out: 0.2."),
        of("restitution", "Share of speed kept at a stop", "number", "Left out: 0.1."),
        of("seat_leak_area", "Leak past a worn seat", "area", "Its area; left out: tight."),
        of("held_open", "Grit holds it open by", "small_length", "Left out: it shuts."),
    )
    return Group("Waste valve", main), Group("Waste valve, in detail", fine, folded=True)


def _build() -> Form:
    delivery = (
        Field("delivery_valve.bore", "Bore of the seat", "small_length", "", True),
        Field("delivery_valve.loss_coefficient", "Loss coefficient", "number", "Left out: found by the fit."),
        Field("delivery_valve.cracking_head", "Head that opens it", "head", "Left out: 0.05 m."),
        Field("delivery_valve.slip_volume", "Water that slips back each beat", "volume", "Left out: found by the fit."),
    )
    vessel = (
        Field("air_vessel.volume", "Volume inside", "volume", "The whole vessel, air and water.", True),
        Field("air_vessel.precharge", "Air pressure before water came in", "pressure_gauge", "Left out: open air."),
        Field("air_vessel.polytropic_index", "Polytropic index", "number", "1 slow to 1.4 fast; left out: 1.2."),
    )
    leak = Field("delivery_valve.leak_area", "Leak past it when shut", "area", "Its area; left out: tight.")
    body = Field("body_air", "Air trapped in the body", "volume", "Left out: found by the fit.")
    snifter = (
        Field("snifter.bore", "Bore of the hole", "small_length", "Left out: no snifter."),
        Field("snifter.discharge_coefficient", "Discharge coefficient", "number", "Left out: 0.6, a sharp hole."),
    )
    groups = (
        *_waste_valve(),
        Group("Delivery valve", delivery[:1]),
        Group("Air vessel", vessel[:1]),
        Group("Delivery valve, vessel and body, in detail", (*delivery[1:], leak, *vessel[1:], body), folded=True),
        Group("Snifter", snifter, "A small hole that lets a little air in at each beat.", folded=True),
        NOTE,
    )
    before = LinkField("revision_of", "Made from", "build", needed=False, help="The build it is a revision of.")
    links = (LinkField("pump", "Pump", "pump"), before)
    return Form("build", "build", "builds", "What you call it in the yard: long stroke, rubber flap.", links, groups)


def _pipe(
    table: str, title: str, more: tuple[Field, ...], fine: tuple[Field, ...] = (), *, needed: bool = True
) -> tuple[Group, Group]:
    """Groups of a pipe: of a series, or by its measures; one that may be absent is folded."""
    series = {one.name: f"{one.title} ({one.name})" for one in catalogue()}
    sizes = tuple(dict.fromkeys(pipe.size for one in catalogue() for pipe in one.pipes))
    listed, own = OnlyFor(f"{table}.series", tuple(series)), OnlyFor(f"{table}.series", ("",))
    materials = _choices({name: name for name in material_names()}, "choose one")
    main = (
        Field(f"{table}.series", "Series", "choice", "", False, _choices(series, "none of these: by its measures")),
        Field(f"{table}.size", "Size", "text", "As listed for the series.", needed, (), listed, sizes),
        Field(f"{table}.bore", "Bore", "small_length", "", needed, (), own),
        Field(f"{table}.wall", "Wall thickness", "small_length", "", needed, (), own),
        Field(f"{table}.material", "Material", "choice", "", needed, materials, own),
        Field(f"{table}.rating", "Pressure rating", "pressure_gauge", "As printed on it.", False, (), own),
        *more,
    )
    measures = (
        Field(f"{table}.modulus", "Elastic modulus", "modulus", "Left out: of the material.", False, (), own),
        Field(f"{table}.roughness", "Roughness", "small_length", "Left out: of the material.", False, (), own),
        *fine,
    )
    return Group(title, main, folded=not needed), Group(f"{title}, in detail", measures, folded=True)


def _drive_fields(table: str) -> tuple[Field, ...]:
    """What a drive pipe has beside its pipe."""
    return (
        Field(f"{table}.entry_loss", "Loss at mouth and fittings", "number", "In velocity heads; left out: 0.5."),
        Field(f"{table}.anchoring", "How it is held", "choice", "", False, _choices(ANCHORING_WORDS, "not said")),
        Field(f"{table}.gas_fraction", "Free gas in the water", "fraction", "By volume; left out: none."),
    )


def _one_group(groups: tuple[Group, Group], help: str) -> Group:
    """Two groups of something that may be absent as one folded group."""
    return Group(groups[0].title, (*groups[0].fields, *groups[1].fields), help, folded=True)


def _drive_pipe(needed: bool = True) -> tuple[Group, ...]:
    """The drive pipe, and the wider pipe it may come from."""
    length = Field("drive_pipe.length", "Length", "length", "", needed)
    above = "drive_pipe.upstream"
    length_above = Field(f"{above}.length", "Length", "length")
    upper = _pipe(above, "Pipe upstream of the drive pipe", (length_above,), _drive_fields(above), needed=False)
    help = "Where the drive pipe is not one pipe all the way. The loss at the mouth is then that of this pipe."
    return (
        *_pipe("drive_pipe", "Drive pipe", (length,), _drive_fields("drive_pipe"), needed=needed),
        _one_group(upper, help),
    )


def _supply_pipe() -> Group:
    """A pipe that fills a standpipe above the drive pipe."""
    table = "supply_pipe"
    more = (
        Field(f"{table}.length", "Length", "length"),
        Field(f"{table}.standpipe_diameter", "Diameter of the standpipe", "length"),
        Field(f"{table}.standpipe_area", "or its water surface", "area", "Give one of the two."),
    )
    losses = Field(f"{table}.fittings_loss", "Loss of its fittings", "number", "In velocity heads; left out: 0.")
    pipes = _pipe(table, "Supply pipe and standpipe", more, (losses,), needed=False)
    return _one_group(pipes, "Where a longer pipe fills a standpipe from which the drive pipe takes its water.")


WATER = (
    Field("water_temperature", "Water temperature", "temperature"),
    Field("altitude", "Altitude", "length", "Above the sea; left out: 0."),
)
SUBMERGENCE = Field(
    "submergence", "Mouth of the pipe under water by", "length", "At the full level; left out: deep enough."
)


_SORT_WORDS = {
    "gauge": "pressure gauge",
    "bucket": "bucket or tub with a mark",
    "stopwatch": "stopwatch",
    "level_rule": "level rule at the supply",
    "thermometer": "thermometer",
}
_INSTRUMENT_FIELDS = {
    "gauge": (
        Field("full_scale", "End of its scale", "pressure_gauge"),
        Field("accuracy_class", "Accuracy class", "fraction", "Share of full scale: class 1.6 is 1.6 %."),
        Field("resolution", "Smallest step read", "pressure_gauge"),
    ),
    "bucket": (
        Field("mark_uncertainty", "Its mark may be off by", "volume"),
        Field("capacity", "It holds", "volume", "More than that is several fillings."),
        Field("plan_area", "Its water surface", "area", "Of a vessel the pump drains."),
    ),
    "stopwatch": (Field("start_stop_sd", "Starting and stopping scatter by", "duration"),),
    "level_rule": (
        Field("half_width", "A reading may be off by", "length"),
        Field("datum_half_width", "Its zero may be off by", "length"),
    ),
    "thermometer": (Field("half_width", "It may be off by", "temperature_difference"),),
}
"""What each sort of instrument says of itself."""
_GAUGE_PLACE = (
    Field("height_above_datum", "Its centre above the spill level", "length"),
    Field("height_half_width", "That height may be off by", "length"),
)


def _instrument() -> Form:
    fields = [Field("sort", "Sort of instrument", "choice", "", True, _kind_words(_SORT_WORDS))]
    for sort, own in _INSTRUMENT_FIELDS.items():
        keys = {inner: key for key, inner in own_fields(sort).items()}
        fields += [replace(one, key=keys[one.key], only_for=OnlyFor("sort", (sort,))) for one in own]
    group = Group("How far it can be trusted", tuple(fields), "What is left out keeps its usual uncertainty.")
    name_help = "What is written on it, or what you call it: fine gauge, marked tub."
    return Form("instrument", "instrument", "instruments", name_help, (), (group, NOTE))


_USED_INSTRUMENTS = {
    "Gauge": (("gauge", "Gauge", ""),),
    "Buckets": (("bucket", "Bucket", ""), ("delivery_bucket", "Bucket for delivered water", "the same bucket")),
    "Stopwatch, rule, thermometer": (
        ("stopwatch", "Stopwatch", ""),
        ("level_rule", "Level rule", ""),
        ("thermometer", "Thermometer", ""),
    ),
}
"""Groups of a form: role, words, what is taken when it is left out."""


def _instruments(*, linked: bool = False) -> tuple[Group, ...]:
    """What is said of instruments where they are used; hidden where one of the book may be chosen instead, and is."""
    groups = []
    for title, roles in _USED_INSTRUMENTS.items():
        fields: list[Field] = []
        for role, label, otherwise in roles:
            here, sort = OnlyFor(f"link.{role}", ("",)) if linked else None, INSTRUMENT_ROLES[role]
            if SORTS[sort].named:
                help = "The same name on two rigs means the same one."
                help = f"Left out: {otherwise}. {help}" if otherwise else help
                words = f"{label}, for this rig alone" if linked else label
                fields.append(Field(f"instruments.{role}.name", words, "text", help, only_for=here))
            for one in _INSTRUMENT_FIELDS[sort]:
                words = f"{label}: {one.label[:1].lower()}{one.label[1:]}" if len(roles) > 1 else one.label
                fields.append(replace(one, key=f"instruments.{role}.{one.key}", label=words, only_for=here))
            if role == "gauge":
                fields += [replace(one, key=f"instruments.gauge.{one.key}") for one in _GAUGE_PLACE]
        groups.append(Group(title, tuple(fields), "What is left out keeps its usual uncertainty.", folded=True))
    return tuple(groups)


def _instrument_links() -> tuple[LinkField, ...]:
    """The instruments of the book that a rig is read with."""
    help = "One of the book's instruments; none: as described here."
    return tuple(
        LinkField(role, label, "instrument", needed=False, help=help, group=title)
        for title, roles in _USED_INSTRUMENTS.items()
        for role, label, _ in roles
    )


def _rig() -> Form:
    supply = (
        Field("fall", "Fall", "head", "Supply surface above the level where the waste valve spills.", True),
        Field("supply_diameter", "Diameter of the supply vessel", "length", "Left out when the level is held."),
        Field("supply_area", "or its water surface", "area", "Give one of the two."),
        Field("source_flow", "The source gives", "volume_flow", "Left out: as much as is drawn."),
        SUBMERGENCE,
        *WATER,
    )
    groups = (Group("Supply", supply), *_drive_pipe(), _supply_pipe(), *_instruments(linked=True), NOTE)
    name_help = "Where pumps are tested, with which gauge: yard, high gauge."
    return Form("rig", "rig", "rigs", name_help, _instrument_links(), groups)


def _run() -> Form:
    how = (
        Field("kind", "How it was run", "choice", "", True, _kind_words(RUN_KIND_WORDS)),
        Field("duration", "Duration", "duration", "By the stopwatch."),
        Field("beats", "Beats counted", "count"),
        Field("waste_volume", "Water spilled", "volume"),
        Field("delivered_volume", "Water delivered", "volume"),
        Field("drawn_volume", "Water drawn", "volume", "In place of what was spilled."),
        Field("gauge_pressure", "Pressure at the gauge", "pressure_gauge"),
        Field("back_pressure_head", "or height of the standpipe", "head", "Above the spill level; one of the two."),
    )
    around = (
        Field("fall", "Fall at the start", "head", "Left out: the rig's."),
        Field("fall_end", "Fall at the end", "head"),
        Field("water_temperature", "Water temperature", "temperature"),
        Field("tilt", "Tilt", "angle", "Left out: the build's."),
        Field("order", "Its place in the order made", "whole", "Left out: after the last."),
    )
    links = (
        LinkField("build", "Build", "build"),
        LinkField("rig", "Rig", "rig"),
        LinkField("trial", "Trial", "trial", needed=False),
    )
    groups = (Group("Readings", how), Group("Around it", around), NOTE)
    return Form("run", "run", "runs", "Such as flap 3.", links, groups)


def _trial() -> Form:
    question = (
        Field("figure", "What is compared", "choice", "", True, _kind_words(FIGURE_WORDS)),
        Field("kind", "In which runs", "choice", "", True, _kind_words(RUN_KIND_WORDS)),
        Field("margin", "Counts as the same within", "fraction", "A share of the old build's figure.", True),
        Field(
            "difference_that_matters", "Difference worth finding", "fraction", "Sets how many runs are needed.", True
        ),
        Field("back_pressure_head", "Only runs against about", "head", "Left out: all runs of that sort."),
    )
    links = (LinkField("old_build", "Old build", "build"), LinkField("new_build", "New build", "build"))
    return Form(
        "trial", "trial", "trials", "The question in a word: waste.", links, (Group("Question", question), NOTE)
    )


def _site() -> Form:
    place = (
        Field("fall", "Fall", "head", "Source surface above the pump; give what it may be off by: 3.00 m ± 0.03 m."),
        Field("source_flow", "The source gives", "volume_flow", "In the dry months, with what it may be off by."),
        Field("lift_from_pump", "Lift, from the pump", "head", "Outlet above the pump."),
        Field("lift_from_source", "or lift, from the source", "head", "Outlet above the source; one of the two."),
        Field("wanted_flow", "Water wanted", "daily_volume_flow"),
        SUBMERGENCE,
        *WATER,
    )
    line = Field("delivery_line.length", "Length", "length")
    fine = (
        Field("delivery_line.fittings_loss", "Loss of its fittings", "number", "In velocity heads; left out: 0."),
        Field("delivery_line.leak_area", "A leak in it", "area", "Its area; left out: tight."),
        Field("delivery_line.leak_place", "How far along it leaks", "fraction", "Of its length, from the pump."),
    )
    groups = (
        Group("The place", place),
        *survey_groups(),
        *_drive_pipe(needed=False),
        _supply_pipe(),
        *_pipe("delivery_line", "Delivery line", (line,), fine, needed=False),
        NOTE,
    )
    return Form("site", "site", "sites", "The place, not the customer.", (), groups)


PURPOSE_WORDS = {
    "commissioning": "commissioning: first start",
    "service": "service: care as planned",
    "fault": "fault: something wrong",
    "change": "change: part or tuning",
}
CAUGHT_WORDS = {"tank": "at the tank", "pump": "at the pump, throttled"}
CONDITION_WORDS = {"sound": "still sound", "worn": "worn", "failed": "failed"}
_YES_NO = {"no": "no", "yes": "yes"}


def _visit() -> Form:
    """A visit, in the order in which it is made; what is seldom needed is folded."""
    today = (
        Field("date", "Date", "date", "", True),
        Field("purpose", "Why", "choice", "", True, _kind_words(PURPOSE_WORDS)),
        Field("who", "Who was there", "text"),
    )
    buckets = (
        Field("waste_volume", "Water wasted, in a bucket", "volume", "Caught at the waste valve."),
        Field("waste_duration", "Time of the wasted water", "duration"),
        Field("delivered_volume", "Water delivered, in a bucket", "volume"),
        Field("delivered_duration", "Time of the delivered water", "duration", "Two minutes or more."),
        Field(
            "caught_at",
            "Delivered water caught",
            "choice",
            "At the pump it needs the gauge.",
            False,
            _choices(CAUGHT_WORDS),
        ),
        Field("beats", "Beats counted", "count"),
        Field("beats_duration", "Time of the count", "duration", "Two minutes or more."),
        Field("gauge_pressure", "Pressure at the gauge", "pressure_gauge"),
    )
    again = (
        Field("fall", "Fall, measured again", "head", "With what it may be off by; left out: as surveyed."),
        Field("lift_from_pump", "Lift from the pump, again", "head", "Outlet above the pump, not above the source."),
        Field("source_flow", "The source gives", "volume_flow"),
        Field("water_temperature", "Water temperature", "temperature"),
    )
    tuning = (
        Field("stroke", "Stroke, as it was read with", "small_length", "Left out: as built, else of the build."),
        Field("mass", "Moving mass, as it was read with", "mass", "Left out: as built, else of the build."),
        Field("stroke_before", "Stroke before, if changed", "small_length"),
        Field("mass_before", "Moving mass before, if changed", "mass"),
    )
    found = (
        Field("found", "What was found", "note"),
        Field("for_twin", "Feed the twin of the build", "choice", "Only readings you trust.", False, _choices(_YES_NO)),
    )
    care = tuple(
        Field(f"care.{item.id}", _upper(item.words), "choice", "", False, _choices({"yes": "done"}, "not done"))
        for item in care_items()
    )
    links = (LinkField("site", "Site", "site"), LinkField("build", "Build that stands there", "build", needed=False))
    groups = (
        Group("The day", today),
        Group("Readings", buckets, "What was not read stays empty."),
        Group("Measured again", again, folded=True),
        Group("Tuning", tuning, folded=True),
        Group("Found", found),
        Group("Care done", care, folded=True),
        Group("Parts replaced", _parts(), folded=True),
        *_instruments(),
        NOTE,
    )
    return Form("visit", "visit", "visits", "Such as Upper Hazel, first start.", links, groups)


def _care_intervals() -> Group:
    """The workshop's own intervals of care."""
    fields: list[Field] = []
    for item in care_items():
        usual = ", ".join(
            f"{number:,.10g} {unit}".replace(",", " ")
            for number, unit in ((item.months, "months"), (item.beats, "beats"))
            if number
        )
        help = f"Left out: {usual}; 0: not by this."
        fields += [
            Field(f"care.{item.id}.months", f"{_upper(item.words)}: months", "number", help),
            Field(f"care.{item.id}.beats", "or beats", "count", "Whichever comes first."),
        ]
    return Group(
        "Care, and how often", tuple(fields), "What is due where pumps stand is counted by these.", folded=True
    )


def _upper(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


def _parts() -> tuple[Field, ...]:
    """How each part was, where it was replaced, and how long it had run."""
    fields: list[Field] = []
    for part, words in PARTS.items():
        key, replaced = f"parts.{part}", OnlyFor(f"parts.{part}.condition", tuple(CONDITIONS))
        choices = _choices(CONDITION_WORDS, "not replaced")
        fields += [
            Field(f"{key}.condition", _upper(words), "choice", "", False, choices),
            Field(f"{key}.beats", "Beats it had run", "count", "", False, (), replaced),
            Field(f"{key}.run_time", "or time it had run", "duration", "", False, (), replaced),
        ]
    return tuple(fields)


def _stock() -> Group:
    """What the workshop builds with."""

    def of(key: str, label: str, kind: str, help: str = "") -> Field:
        return Field(f"stock.{key}", label, kind, help)

    def usual(pipes: tuple[Pipe, ...]) -> str:
        return f"Left out: {'; '.join(sorted({pipe.series for pipe in pipes}))}."

    stock = usual_stock()
    each = "A series, or series and size: steel-sch40; pvc-sch40 1 in."
    fields = (
        of("drive_pipes", "Drive pipes", "list", f"{each} {usual(stock.drive_pipes)}"),
        of("supply_pipes", "Supply pipes", "list", usual(stock.supply_pipes)),
        of("delivery_pipes", "Delivery pipes", "list", usual(stock.delivery_pipes)),
        of("most_pumps", "Most pumps side by side", "whole", f"Left out: {stock.most_pumps}."),
        of("standpipe_diameters", "Standpipes, inside", "list", "Such as 200 mm; 300 mm."),
    )
    return Group("What you build with", fields, folded=True)


def _prices() -> tuple[Group, Group]:
    """The workshop's price list."""

    def of(key: str, label: str, kind: str, help: str = "") -> Field:
        return Field(f"prices.{key}", label, kind, help)

    terms = (
        of("currency", "Currency", "text", "As it is printed, such as EUR; a price list needs one."),
        of("hour", "An hour of work", "number"),
        of("margin", "Margin", "fraction", "Put on top of the cost; left out: none."),
        of("yearly_care", "A year's care of one pump", "number", "Left out: nothing."),
        of("life", "Years over which water is to pay", "number", "Left out: 15."),
        of("interest", "Interest a year", "fraction", "Left out: none."),
    )
    lists = (
        of("pumps", "Pumps", "lines", "Build = price: flap = 180."),
        of("pipes", "Pipe, by the metre", "lines", "Series and size = price: steel-sch40 1 in = 7.50."),
        of(
            "parts",
            "Parts",
            "lines",
            f"Part = price. Bills ask for: {'; '.join(PRICED_PARTS)}. Any other stands once in each.",
        ),
        of("hours", "Hours of work", "lines", f"Work = hours: set out = 3. Of: {'; '.join(HOURS)}."),
    )
    return Group("Terms", terms, folded=True), Group("Price lists, a line each", lists, folded=True)


@functools.cache
def price_form() -> Form:
    """The workshop's form with its prices and its stock alone."""
    groups = tuple(replace(group, folded=False) for group in (*_prices(), _stock()))
    return Form("workshop", "workshop", "workshops", "", (), groups)


def _head(kind: str, word: str, plural: str, name_help: str, more: tuple[Group, ...] = ()) -> Form:
    units = (Choice("metric", "metric"), Choice("us", "US"))
    fields = (
        Field("title", "In a few words", "text", "Printed on its sheets."),
        Field("units", "Units", "choice", "", False, units),
    )
    return Form(kind, word, plural, name_help, (), (Group("About it", fields), *more, NOTE))


@functools.cache
def forms() -> Mapping[str, Form]:
    """Every form by kind of record."""
    made = (
        _head("pump", "pump", "pumps", "A size or model: the 25 mm pump."),
        _head(
            "workshop",
            "workshop",
            "workshops",
            "What stands on your sheets.",
            (*_prices(), _stock(), _care_intervals()),
        ),
        _build(),
        _instrument(),
        _rig(),
        _run(),
        _trial(),
        _site(),
        _visit(),
        part_form(),
        switch_form(),
    )
    return MappingProxyType({form.kind: form for form in made})
