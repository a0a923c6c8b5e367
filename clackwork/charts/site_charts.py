"""Charts of a designed site: its months, the drive pipe's length against rules of thumb, the tank over the year.

Everything reads in grey: fill, dash and shape carry the meaning.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from clackwork.charts.vega import DARK, LIGHT, MIDDLE, Spec, axis_title, layer, nominal, quantitative, title, whole
from clackwork.quantities import key_name, to_display
from clackwork.site.design import MonthPlan, RuleOfThumb

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
Width = int | str
"""Of a plot [px], or "container" for that of the page's column."""
_DAY = 86400.0
_HEIGHT = 200


@dataclass(frozen=True)
class LengthPoint:
    """What one pump does on a drive pipe of one length.

    Attributes
    ----------
    length : float
        [m]
    delivered_flow, drawn_flow : float
        [m3/s]; ``delivered_flow`` is 0 where it does not beat.
    is_beating : bool
    """

    length: float
    delivered_flow: float
    drawn_flow: float
    is_beating: bool


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
    rows = [
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
    rows = [
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
    "Line: what one pump delivers on a drive pipe of that length, all else as chosen. Mark: the length chosen. Bars: what "
    "rules of thumb would have taken, by author."
)


def lengths_chart(
    points: Sequence[LengthPoint],
    chosen: float,
    rules: Sequence[RuleOfThumb],
    *,
    system: str = "metric",
    width: Width = 460,
) -> Spec:
    """Delivery against the length of the drive pipe, over what rules of thumb say.

    Parameters
    ----------
    points : sequence of LengthPoint
        Lengths rising.
    chosen : float
        Length of the design [m].
    rules : sequence of RuleOfThumb
        Those about lengths are drawn.
    system : {"metric", "us"}
    width : int or "container", optional
    """
    length, delivered = key_name("length", "length", system), key_name("delivered", "daily_volume_flow", system)
    rows = [
        {
            length: to_display(point.length, "length", system),
            delivered: to_display(point.delivered_flow, "daily_volume_flow", system),
        }
        for point in points
    ]
    longest = max([point.length for point in points], default=1.0)
    span = (0.0, to_display(longest, "length", system))
    top = 1.1 * max([row[delivered] for row in rows], default=0.0) or 1.0
    x = quantitative(length, None, domain=span, axis={"labels": False, "title": None, "grid": True, "tickCount": 6})
    y = quantitative(delivered, axis_title("delivered", "daily_volume_flow", system), domain=(0.0, top))
    line = layer({"type": "line", "color": DARK, "strokeWidth": 2, "point": False}, {"x": x, "y": y}, rows)
    mark = [{length: to_display(chosen, "length", system)}]
    rule = layer({"type": "rule", "color": DARK, "strokeDash": [5, 3], "strokeWidth": 1.5}, {"x": x}, mark)
    upper = {"height": 170, "layer": [rule, line]}
    names = [one.author for one in rules if one.kind == "length"]
    panels = [upper, _rules_panel(rules, length, span, mark, system)] if names else [upper]
    sized = [{**panel, "width": 300 if width == "container" else width} for panel in panels]
    body: Spec = {"vconcat": sized, "spacing": 6}
    if width != "container":
        body["title"] = title("Length of the drive pipe", LENGTHS_CAPTION, width=int(width))
    return whole(body, description="Water delivered against the length of the drive pipe, beside rules of thumb")


def _rules_panel(
    rules: Sequence[RuleOfThumb], length: str, span: tuple[float, float], mark: list[Spec], system: str
) -> Spec:
    """A bar for what each author's rule gives, cut at the ends of the axis."""
    rows = [
        {
            "author": one.author,
            length: min(to_display(one.low, "length", system), span[1]),
            "high": min(to_display(one.high, "length", system), span[1]),
        }
        for one in rules
        if one.kind == "length"
    ]
    words = axis_title("length of the drive pipe", "length", system)
    x = quantitative(length, words, domain=span, axis={"grid": True, "tickCount": 6})
    y = nominal("author", None, axis={"labelLimit": 110})
    bars = layer(
        {"type": "bar", "color": LIGHT, "stroke": MIDDLE, "height": {"band": 0.55}},
        {"x": x, "x2": {"field": "high"}, "y": y},
        rows,
    )
    chosen = layer({"type": "rule", "color": DARK, "strokeDash": [5, 3], "strokeWidth": 1.5}, {"x": x}, mark)
    return {"height": 24 * len({row["author"] for row in rows}), "layer": [bars, chosen]}
