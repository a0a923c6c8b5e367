"""The forms of a part in service and of a switch to a new build."""

from __future__ import annotations

from clackwork.life.stress import MATERIALS
from clackwork.site.visit import PARTS
from clackwork.web.fields import Choice, Column, Field, Form, Group, LinkField, OnlyFor

OUTCOME_WORDS = {
    "runs on": "runs on",
    "failed": "failed",
    "renewed sound": "renewed while still sound",
    "taken out": "taken out for another reason",
}
LOOK_COLUMNS = (
    "date",
    "outcome",
    "wear",
    "found",
    "beats",
    "just_seen",
    "seen_failing",
    "cause",
    "weight_loss",
    "leak",
)
_NOTE = Group("Note", (Field("note", "Anything worth remembering", "note"),))
_PART = tuple(Choice(key, words) for key, words in PARTS.items())
_MATERIALS = tuple(Choice(key, key) for key in MATERIALS)


def part_form() -> Form:
    """A part in service, from the day it was fitted."""
    links = (
        LinkField("build", "Build", "build"),
        LinkField("site", "Site", "site", False, "Where it runs: a site or a rig, one of the two."),
        LinkField("rig", "Rig", "rig", False),
    )
    what = (
        Field("part", "What wears", "choice", "", True, (Choice("", "choose one"), *_PART)),
        Field("material", "Made of", "choice", "", True, (Choice("", "choose one"), *_MATERIALS)),
        Field("fitted", "Fitted on", "date", "", True),
        Field("wear_limit", "Renewed at a wear of", "small_length", "Left out: life by wear is not told."),
        Field("weight_loss_limit", "Renewed at a weight lost of", "mass", "If it is weighed."),
        Field("leak_limit", "Renewed at a leak of", "volume_flow", "If the leak past the shut valve is caught."),
        Field("running_share", "Share of the time it runs", "fraction", "Left out: all the time."),
    )
    columns = tuple(Column(key) for key in LOOK_COLUMNS)
    line = (
        "A look a line, the oldest first: date; how it ended (runs on, failed, renewed sound, taken out); wear; how it "
        "looked. Such as 2026-05-03; runs on; 0.8 mm ± 0.2 mm; a ring at the seat."
    )
    looks = (Field("look", "Looks", "rows", line, columns=columns),)
    return Form(
        "part",
        "part",
        "parts",
        "Such as Upper Hazel, first rubber.",
        links,
        (Group("The part", what), Group("Looks", looks), _NOTE),
    )


def switch_form() -> Form:
    """A switch from an old build to a new one."""
    links = (LinkField("old_build", "Old build", "build"), LinkField("new_build", "New build", "build"))

    def side(key: str, word: str) -> tuple[Field, ...]:
        first, renewal = f"A pump with the {word} part costs", f"A renewal of the {word} part costs"
        return (
            Field(f"{key}.material", f"The {word} part is made of", "choice", "", True, _MATERIALS),
            Field(f"{key}.first_cost", first, "number", "As far as the builds differ.", True),
            Field(f"{key}.renewal_cost", renewal, "number", "Part, hours, the way there.", True),
            Field(f"{key}.parts_cost", f"All parts of a {word} pump cost", "number", "For margin and price."),
            Field(f"{key}.hours", f"Hours of work on a {word} pump", "number"),
        )

    terms = (
        Field("part", "The part that is changed", "choice", "", True, (Choice("", "choose one"), *_PART)),
        Field("value_of_a_cubic_metre", "A cubic metre of water is worth", "number", "Delivered and wanted.", True),
        Field(
            "cost_of_a_year_of_trouble",
            "A year of a pump that does not serve costs",
            "number",
            "It stalls, wants more water than there is, or passes the rating of its pipe.",
            True,
        ),
        Field("years", "Years over which a first cost is spread", "number", "Left out: 10."),
        Field("reserve", "Reserve for warranty, each pump", "number", "The longest warranty for it is told."),
    )
    selling = (
        Field("price", "A pump is sold for", "number", "Its margin is told, and the price that would hold it."),
        Field("hour_cost", "An hour of work costs", "number"),
        Field("margin", "Margin to be held", "fraction", "Such as 35 %. Left out: what the old pump leaves now."),
        Field("warranty_months", "Months of warranty", "number", "Left out: 24."),
    )
    more = (
        Field("pair", "Other sizes", "rows", "Old build; new build, a size a line.", columns=(Column("old"), Column("new"))),
        Field("likely_sites", "Likely sites besides those in the book", "whole", "Left out: none."),
        Field("likely.fall", "Their falls", "list", "Both ends: 0.8 m; 6 m. Left out: like those in the book."),
        Field("likely.lift_over_fall", "Lift over fall", "list", "Such as 3; 12."),
        Field("likely.drive_length_over_fall", "Drive pipe over fall", "list", "Such as 5; 12."),
        Field("likely.line_length_over_lift", "Delivery line over lift", "list", "Such as 2; 10."),
        Field("likely.line_loss_over_lift", "Friction of the line over lift", "list", "Sets its pipe, such as 0.03; 0.1."),
        Field("likely.source_flow", "What their sources give", "list", "Such as 12 L/min; 90 L/min."),
    )  # fmt: skip
    groups = (
        Group("What is asked", terms),
        Group("The old part", side("old", "old")),
        Group("The new part", side("new", "new")),
        Group("Price and margin", selling, folded=True),
        Group("More sizes, likely sites", more, folded=True),
        _NOTE,
    )
    return Form("switch", "switch", "switches", "Such as poppet for flap.", links, groups)


def look_form() -> Form:
    """One look at a part, as it is made beside the pump."""
    outcomes = tuple(Choice(key, words) for key, words in OUTCOME_WORDS.items())
    yes_no = (Choice("no", "no"), Choice("yes", "yes"))
    failed = OnlyFor("outcome", ("failed",))
    fields = (
        Field("date", "Date", "date", "", True),
        Field("outcome", "How it ended", "choice", "", True, outcomes),
        Field("wear", "Wear", "small_length", "With what it may be off by: 0.8 mm ± 0.2 mm. No mark: 0 mm."),
        Field("just_seen", "Smallest wear you would have seen", "small_length", "Needed where there is no mark."),
        Field("weight_loss", "Weight lost since it was fitted", "mass", "With what it may be off by: 2 g ± 0.5 g."),
        Field("leak", "Leak past the shut valve", "volume_flow", "Caught and timed: 0.2 L/min ± 0.05 L/min."),
        Field("beats", "Beats since it was fitted", "count", "If they were counted; else they follow from the days."),
        Field("cause", "Failed by", "text", "Such as torn at the weight.", only_for=failed),
        Field("seen_failing", "Seen as it failed", "choice", "", False, yes_no, failed),
        Field("found", "How it looked", "text"),
    )
    return Form("part", "look", "looks", "", (), (Group("The look", fields),))
