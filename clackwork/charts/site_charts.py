"""Charts of a designed site: its months, its tank over the year, the drive pipe's length against rules of thumb.

Everything reads in grey: fill, dash and shape carry the meaning.
"""

from __future__ import annotations

from collections.abc import Sequence

from clackwork.charts.vega import DARK, LIGHT, MIDDLE, Spec, axis_title, layer, nominal, quantitative, title, whole
from clackwork.quantities import key_name, to_display
from clackwork.site.design import MonthPlan, RuleOfThumb
from clackwork.site.storage import DAYS, DAYS_IN_MONTH, TankYear

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
Width = int | str
"""Of a plot [px], or "container" for that of the page's column."""
_DAY = 86400.0
_HEIGHT = 200


def _sized(body: Spec, width: Width, heading: str, caption: str) -> Spec:
    """A plot with its width, and its title unless it fills a page's column, which says it itself."""
    if width == "container":
        return {**body, "width": width, "autosize": {"type": "fit-x", "contains": "padding"}}
    return {**body, "width": width, "title": title(heading, caption, width=int(width))}


MONTHS_CAPTION = "Bars: delivered a day. Strokes: needed a day."
SOURCE_CAPTION = "Grey: what the source gives. Dark: what the pumps draw."


def months_chart(months: Sequence[MonthPlan], *, system: str = "metric", width: Width = 460) -> Spec:
    """Water delivered and water needed a day, month by month.

    Parameters
    ----------
    months : sequence of MonthPlan
    system : {"metric", "us"}
    width : int or "container", optional
    """
    delivered, needed = (key_name(one, "daily_volume_flow", system) for one in ("delivered", "needed"))
    rows: list[Spec] = [
        {
            "month": MONTHS[plan.month - 1],
            delivered: to_display(plan.delivered_daily / _DAY, "daily_volume_flow", system),
            needed: to_display(plan.needed_daily / _DAY, "daily_volume_flow", system),
        }
        for plan in months
    ]
    top = 1.08 * max([max(row[delivered], row[needed]) for row in rows], default=0.0) or 1.0
    axis = quantitative(delivered, axis_title("water a day", "daily_volume_flow", system), domain=(0.0, top))
    x = nominal("month", None, axis={"labelAngle": 0})
    bars = layer({"type": "bar", "color": LIGHT, "stroke": DARK, "strokeWidth": 1}, {"x": x, "y": axis})
    ticks = layer(
        {"type": "tick", "color": DARK, "thickness": 3, "opacity": 1}, {"x": x, "y": {**axis, "field": needed}}
    )
    body: Spec = {"data": {"values": rows}, "height": _HEIGHT, "layer": [bars, ticks]}
    return whole(
        _sized(body, width, "Delivered and needed, month by month", MONTHS_CAPTION),
        description="Water delivered and water needed a day in each month",
    )


def source_chart(months: Sequence[MonthPlan], *, system: str = "metric", width: Width = 460) -> Spec:
    """What the source gives and what the pumps draw of it, month by month.

    Parameters
    ----------
    months : sequence of MonthPlan
    system : {"metric", "us"}
    width : int or "container", optional
    """
    there, drawn = (key_name(one, "volume_flow", system) for one in ("there", "drawn"))
    rows: list[Spec] = [
        {
            "month": MONTHS[plan.month - 1],
            there: to_display(plan.source_flow, "volume_flow", system),
            drawn: to_display(plan.water_drawn, "volume_flow", system),
        }
        for plan in months
    ]
    top = 1.08 * max([max(row[there], row[drawn]) for row in rows], default=0.0) or 1.0
    axis = quantitative(there, axis_title("flow", "volume_flow", system), domain=(0.0, top))
    x = nominal("month", None, axis={"labelAngle": 0})
    gives = layer({"type": "bar", "color": LIGHT, "stroke": MIDDLE, "strokeWidth": 1}, {"x": x, "y": axis})
    draws = layer({"type": "bar", "color": DARK, "width": {"band": 0.35}}, {"x": x, "y": {**axis, "field": drawn}})
    body: Spec = {"data": {"values": rows}, "height": _HEIGHT, "layer": [gives, draws]}
    return whole(
        _sized(body, width, "The source month by month", SOURCE_CAPTION),
        description="What the source gives and what the pumps draw in each month",
    )


LENGTHS_CAPTION = (
    "Line: what the pumps would deliver on a drive pipe of that length at their best tuning; where a shorter one delivers "
    "more, the rate of its beats rules it out. Dashed: the length chosen. Bars: what rules of thumb would have taken, by "
    "author."
)


def lengths_chart(
    points: Sequence[tuple[float, float, float]],
    chosen: float,
    rules: Sequence[RuleOfThumb],
    *,
    system: str = "metric",
    width: int = 460,
    titled: bool = True,
) -> Spec:
    """Delivery against the length of the drive pipe, over what rules of thumb say.

    Parameters
    ----------
    points : sequence of (float, float, float)
        Length [m], delivered by all pumps [m3/day] and beats [1/s], as in a choice's ``by_length``.
    chosen : float
        Length of the design [m].
    rules : sequence of RuleOfThumb
        Those about the drive pipe's length are drawn.
    system : {"metric", "us"}
    width : int, optional
        Of the plots [px].
    titled : bool, optional
    """
    rules = [one for one in rules if one.topic == "drive pipe length"]
    length, delivered = key_name("length", "length", system), key_name("delivered", "daily_volume_flow", system)
    rows = [
        {
            length: to_display(point[0], "length", system),
            delivered: to_display(point[1] / _DAY, "daily_volume_flow", system),
        }
        for point in points
    ]
    longest = max([1.25 * chosen, *(point[0] for point in points), *(min(one.high, 2.5 * chosen) for one in rules)])
    span = (0.0, to_display(longest, "length", system))
    top = 1.1 * max([row[delivered] for row in rows], default=0.0) or 1.0
    x = quantitative(length, None, domain=span, axis={"labels": False, "title": None, "grid": True, "tickCount": 6})
    y = quantitative(delivered, axis_title("delivered", "daily_volume_flow", system), domain=(0.0, top))
    line = layer(
        {"type": "line", "color": DARK, "strokeWidth": 2, "point": {"color": DARK, "size": 35}}, {"x": x, "y": y}, rows
    )
    mark = [{length: to_display(chosen, "length", system)}]
    rule = layer({"type": "rule", "color": DARK, "strokeDash": [5, 3], "strokeWidth": 1.5}, {"x": x}, mark)
    upper = {"height": 170, "layer": [rule, line]}
    panels = [upper, _rules_panel(rules, length, span, mark, system, width)] if rules else [upper]
    body: Spec = {"vconcat": [{**panel, "width": width} for panel in panels], "spacing": 6}
    if titled:
        body["title"] = title("Length of the drive pipe", LENGTHS_CAPTION, width=width)
    return whole(body, description="Water delivered against the length of the drive pipe, beside rules of thumb")


TANK_CAPTION = "Water in the tank at the end of each day, without what is kept for fire. Grey: days with a need unmet."


def tank_chart(year: TankYear, *, system: str = "metric", width: Width = 460) -> Spec:
    """Water in the tank through a year.

    Parameters
    ----------
    year : TankYear
    system : {"metric", "us"}
    width : int or "container", optional
    """
    field = key_name("level", "volume", system)
    rows = [{"day": day + 1, field: to_display(float(level), "volume", system)} for day, level in enumerate(year.level)]
    top = 1.06 * to_display(year.volume, "volume", system) or 1.0
    firsts = [1 + sum(DAYS_IN_MONTH[:month]) for month in range(12)]
    names = f"{list(MONTHS)}[indexof({firsts}, datum.value)]"
    ticks = {"values": firsts, "labelExpr": names, "grid": True, "labelAngle": 0, "labelAlign": "left"}
    x = quantitative("day", None, domain=(1.0, float(DAYS)), axis={**ticks, "labelOverlap": "parity"})
    y = quantitative(field, axis_title("in the tank", "volume", system), domain=(0.0, top))
    line = layer({"type": "line", "color": DARK, "strokeWidth": 1.8}, {"x": x, "y": y}, rows)
    short = [{"day": day + 0.5, "to": day + 1.5} for day, missing in enumerate(year.missing) if missing > 0.0]
    band = layer({"type": "rect", "color": LIGHT}, {"x": {**x, "field": "day"}, "x2": {"field": "to"}}, short)
    body: Spec = {"height": _HEIGHT, "layer": [band, line] if short else [line]}
    return whole(
        _sized(body, width, "The tank through the year", TANK_CAPTION),
        description="Water in the tank at the end of each day of a year",
    )


def _rules_panel(
    rules: Sequence[RuleOfThumb], length: str, span: tuple[float, float], mark: list[Spec], system: str, width: int
) -> Spec:
    """A bar for what each author's rule gives, cut at the ends of the axis."""
    rows = [
        {
            "author": one.author.partition(", from memory")[0],
            length: min(to_display(one.low, "length", system), span[1]),
            "high": min(to_display(one.high, "length", system), span[1]),
        }
        for one in rules
    ]
    words = axis_title("length of the drive pipe", "length", system)
    x = quantitative(length, words, domain=span, axis={"grid": True, "tickCount": 6})
    y = nominal("author", None, axis={"labelLimit": 190 if width > 200 else 105})
    bars = layer(
        {"type": "bar", "color": LIGHT, "stroke": MIDDLE, "height": {"band": 0.55}},
        {"x": x, "x2": {"field": "high"}, "y": y},
        rows,
    )
    chosen = layer({"type": "rule", "color": DARK, "strokeDash": [5, 3], "strokeWidth": 1.5}, {"x": x}, mark)
    return {"height": 24 * len({row["author"] for row in rows}), "layer": [bars, chosen]}
