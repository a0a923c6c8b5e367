"""The doors of the page: headers, names, sizes, and that nothing is taken from another page."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest
from web_case import HOME, Browser, another, served

from clackwork.web.csrf import form_token, same_origin, token_in
from clackwork.web.guard import HEADERS, host_name, is_loopback


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with served(tmp_path_factory.mktemp("doors"), form_limit=20_000) as one:
        yield one


# --- headers ---


@pytest.mark.parametrize("path", ["/", "/nowhere", "/static/page.js", "/api/book", "/break", "/openapi.json"])
def test_every_answer_has_the_headers(browser: Browser, path: str) -> None:
    answer = browser.get(path)
    assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS


def test_the_policy_lets_nothing_from_outside_and_nothing_inline(browser: Browser) -> None:
    policy = browser.get("/").headers["content-security-policy"]
    assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy and "http" not in policy and "*" not in policy


@pytest.mark.parametrize("path", ["/", "/pumps/new", "/book", "/api", "/pair"])
def test_pages_have_no_inline_script_and_no_inline_style(browser: Browser, path: str) -> None:
    import re

    text = browser.get(path).text
    assert not re.search(r"<script(?![^>]*\bsrc=)", text)
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", text)


def test_the_session_cookie_is_kept_from_scripts_and_other_sites(browser: Browser) -> None:
    [line] = another(browser, client="127.0.0.1").get("/").headers.get_list("set-cookie")
    assert line.startswith("clackwork_session=") and "HttpOnly" in line and "SameSite=Lax" in line


def test_a_broken_page_says_nothing_of_the_inside(browser: Browser, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.ERROR):
        answer = browser.get("/break")
    assert answer.status_code == 500
    assert "secret" not in answer.text and "Traceback" not in answer.text and "RuntimeError" not in answer.text
    assert "Nothing was changed" in answer.text and "GET /break broke" in caplog.text


# --- names ---


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "evil.example:8765", "192.0.2.9", ""])
def test_other_names_are_not_served(browser: Browser, host: str) -> None:
    assert browser.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:9000", "127.0.0.1:1", "[::1]:8765", "localhost."])
def test_names_of_this_machine_are_served(browser: Browser, host: str) -> None:
    assert browser.get("/", headers={"host": host}).status_code == 200


def test_host_names_and_loopback_addresses() -> None:
    assert [host_name(text) for text in ("A.b:80", "[::1]:80", "x.")] == ["a.b", "::1", "x"]
    assert all(map(is_loopback, ("127.0.0.1", "127.3.2.1", "::1", "::ffff:127.0.0.1")))
    assert not any(map(is_loopback, ("192.0.2.1", "", "testclient", "::ffff:192.0.2.1", "0.0.0.0")))


# --- sizes ---


def test_a_body_that_says_it_is_too_large_is_refused(browser: Browser) -> None:
    answer = browser.fill("/pumps", {"name": "x" * 30_000})
    assert answer.status_code == 413 and "0.02 MB" in answer.text


def test_a_body_that_hides_its_size_is_stopped(browser: Browser) -> None:
    def pieces() -> Iterator[bytes]:
        yield b'{"name": "'
        for _ in range(50):
            yield b"x" * 1000

    headers = {"origin": HOME, "content-type": "application/json"}
    answer = browser.post("/api/records/pump", content=pieces(), headers=headers)
    assert answer.status_code == 413 and answer.json()["status"] == 413


# --- where a request comes from ---


def test_a_form_without_a_token_is_refused(browser: Browser) -> None:
    browser.get("/")
    answer = browser.post("/pumps", data={"name": "forged"})
    assert answer.status_code == 403 and "Open the page again" in answer.text
    assert browser.get("/api/records/pump?search=forged").json()["total"] == 0


def test_a_token_of_another_session_is_refused(browser: Browser) -> None:
    token = another(browser, client="127.0.0.1").token()
    browser.get("/")
    assert browser.post("/pumps", data={"form_token": token, "name": "forged"}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site", "origin": HOME},
    ],
)
def test_a_right_token_does_not_help_another_origin(browser: Browser, headers: dict[str, str]) -> None:
    assert browser.fill("/pumps", {"name": "forged"}, headers=headers).status_code == 403


def test_the_token_may_come_in_a_header(browser: Browser) -> None:
    answer = browser.post(
        "/pumps", data={"name": "by header"}, headers={"x-clackwork-token": browser.token()}, follow_redirects=False
    )
    assert answer.status_code == 303


def test_json_needs_an_origin_or_a_token(browser: Browser) -> None:
    body = {"name": "by script"}
    assert browser.post("/api/records/pump", json=body).status_code == 403
    assert browser.post("/api/records/pump", json=body, headers={"origin": "http://evil.example"}).status_code == 403
    answer = browser.post("/api/records/pump", json=body, headers={"x-clackwork-token": browser.token()})
    assert answer.status_code == 201


def test_the_token_is_found_at_the_front_of_an_upload(browser: Browser) -> None:
    fields = {"form_token": (None, browser.token()), "backup": ("b.zip", b"no backup", "application/zip")}
    answer = browser.post("/book/restore", files=fields)
    assert answer.status_code == 422 and "b.zip" in answer.text
    assert browser.post("/book/restore", files={"backup": ("b.zip", b"no backup")}).status_code == 403


def test_tokens_of_a_body() -> None:
    token = form_token(b"key", "session")
    assert token_in(f"form_token={token}&x=1".encode(), "application/x-www-form-urlencoded; charset=utf-8") == token
    assert token_in(f"x=1&form_token={token}".encode(), "application/x-www-form-urlencoded") == ""
    assert token_in(f"form_token={token}".encode(), "text/plain") == ""
    assert form_token(b"key", "other") != token != form_token(b"other", "session")


def test_what_the_browser_says() -> None:
    def asked(**headers: str) -> bool | None:
        pairs = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
        return same_origin({"type": "http", "headers": [(b"host", b"127.0.0.1:8765"), *pairs]})

    assert asked() is None
    assert asked(origin=HOME) is True and asked(sec_fetch_site="same-origin") is True
    assert asked(origin="http://127.0.0.1") is False and asked(sec_fetch_site="same-origin", origin="null") is False


# --- assets ---


@pytest.mark.parametrize("name", ["../settings.py", "%2e%2e/settings.py", "fonts/../sheets.py", "x.py", ""])
def test_only_assets_are_served(browser: Browser, name: str) -> None:
    assert browser.get(f"/static/{name}").status_code == 404


def test_assets_may_be_kept_and_pages_are_asked_for_again(browser: Browser) -> None:
    import re

    page = browser.get("/")
    assert page.headers["cache-control"] == "private, no-cache"
    addresses = re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text)
    assert len(addresses) > 4
    for address in [*addresses, "/static/fonts/Lato-Bold.ttf?v=1"]:
        answer = browser.get(address)
        assert answer.status_code == 200 and "immutable" in answer.headers["cache-control"]


def test_the_chart_library_is_served(browser: Browser) -> None:
    answer = browser.get("/static/vendor/vega.js")
    assert answer.status_code == 200 and "vegaEmbed" in answer.text and len(answer.content) > 300_000


def test_vendored_scripts_are_those_the_list_names() -> None:
    import hashlib

    for folder in ("clackwork/web/static/vendor", "tests/browser/vendor"):
        place = Path(__file__).resolve().parents[2] / folder
        listed = (place / "LICENSES.txt").read_text(encoding="utf-8")
        for script in place.glob("*.js"):
            assert script.name in listed and hashlib.sha256(script.read_bytes()).hexdigest() in listed
