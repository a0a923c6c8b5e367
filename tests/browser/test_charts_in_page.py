"""Charts under the strict policy: drawn live without eval, and as the server's own picture where that fails."""

from __future__ import annotations

from browser_case import Served
from playwright.sync_api import Page, expect
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from clackwork.charts.trial_chart import MeanPoint, RunPoint, trial_chart
from clackwork.charts.vega import to_svg
from clackwork.web.pages import page as shown
from clackwork.web.pages import templates

SPEC = trial_chart(
    [RunPoint(f"run {number}", "flap", number, 1e-4 * number, 1e-5) for number in range(1, 5)],
    [MeanPoint("flap", 2e-4, 2.5e-4, 3e-4)],
    figure="waste flow",
    kind="volume_flow",
)
PAGE = """{% extends "base.html" %}{% block title %}Chart{% endblock %}{% block content %}<h1>Chart</h1>
<div class="chart" data-spec-url="/test/chart?x=1"></div>{% endblock %}"""


def add_chart_page(server: Served) -> None:
    """A page with one chart, its description and its picture."""
    templates.cache.clear()

    def chart_page(request: Request) -> Response:
        from jinja2 import ChoiceLoader, DictLoader

        loader = templates.loader
        assert loader is not None
        templates.loader = ChoiceLoader([DictLoader({"test_chart.html": PAGE}), loader])
        try:
            return shown(request, "test_chart.html")
        finally:
            templates.loader = loader

    server.app.add_api_route("/test/page", chart_page, include_in_schema=False)
    server.app.add_api_route("/test/chart", lambda: JSONResponse(SPEC), include_in_schema=False)
    server.app.add_api_route(
        "/test/chart.svg", lambda: Response(to_svg(SPEC), media_type="image/svg+xml"), include_in_schema=False
    )


def test_a_chart_is_drawn_live(desk: Page, demo: Served) -> None:
    add_chart_page(demo)
    desk.goto("/test/page")
    expect(desk.locator(".chart")).to_have_attribute("data-drawn", "live", timeout=30_000)
    drawing = desk.locator(".chart svg").first
    box = drawing.bounding_box()
    assert box and box["width"] > 300 and box["height"] > 150
    expect(drawing).to_have_attribute("aria-label", SPEC["description"])
    assert desk.locator(".chart svg text").count() > 5


def test_a_chart_is_a_picture_where_the_library_fails(desk: Page, demo: Served) -> None:
    add_chart_page(demo)
    desk.route("**/static/vendor/vega.js*", lambda route: route.abort())
    desk.goto("/test/page")
    expect(desk.locator(".chart")).to_have_attribute("data-drawn", "picture")
    picture = desk.locator(".chart img")
    expect(picture).to_have_attribute("alt", SPEC["description"])
    expect(picture).to_have_attribute("src", "/test/chart.svg?x=1")
    assert picture.evaluate("one => one.decode().then(() => one.naturalWidth)") > 300
