"""Sharing and pairing: codes that die, devices that can be withdrawn, and nothing for the unpaired."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from web_case import PHONE, PORT, Browser, another, served

from clackwork.errors import InputError
from clackwork.web.pairing import CODE_LASTS, TRIES_PER_ADDRESS, TRY_WINDOW, WRONG_PER_CODE, PairingDesk, TooManyTries

LAN = "192.0.2.10"


class Clock:
    """Seconds that pass when told to."""

    now = 1000.0

    def __call__(self) -> float:
        return self.now


class Kept:
    """Devices in a list."""

    def __init__(self) -> None:
        self.hashes: list[str] = []

    def add_device(self, name: str, token_hash: str) -> None:
        self.hashes.append(token_hash)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def desk(clock: Clock) -> PairingDesk:
    return PairingDesk(clock)


def wrong(digits: str) -> str:
    """A code that is not the one given."""
    return f"{(int(digits) + 1) % 1_000_000:06d}"


# --- codes ---


def test_a_code_works_once_and_only_the_hash_is_kept(desk: PairingDesk) -> None:
    kept, code = Kept(), desk.new_code()
    token = desk.claim(kept, PHONE, f"{code.digits[:3]} {code.digits[3:]}", "phone")  # type: ignore[arg-type]
    assert len(token) > 40 and token not in kept.hashes[0] and len(kept.hashes[0]) == 64
    with pytest.raises(InputError, match="no code to use now"):
        desk.claim(kept, PHONE, code.digits, "phone")  # type: ignore[arg-type]


def test_a_code_dies_after_its_time(desk: PairingDesk, clock: Clock) -> None:
    code = desk.new_code()
    clock.now += CODE_LASTS
    assert desk.present_code() is None and desk.seconds_left() == 0.0
    with pytest.raises(InputError, match="Ask for a new code"):
        desk.claim(Kept(), PHONE, code.digits, "phone")  # type: ignore[arg-type]


def test_a_code_dies_after_a_few_wrong_tries_from_anywhere(desk: PairingDesk) -> None:
    code = desk.new_code()
    for place in range(WRONG_PER_CODE):
        with pytest.raises(InputError, match="not the code shown"):
            desk.claim(Kept(), f"192.0.2.{place}", wrong(code.digits), "phone")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="no code to use now"):
        desk.claim(Kept(), "192.0.2.200", code.digits, "phone")  # type: ignore[arg-type]


def test_an_address_is_slowed_down_however_many_codes_there_are(desk: PairingDesk, clock: Clock) -> None:
    for _ in range(TRIES_PER_ADDRESS):
        with pytest.raises(InputError):
            desk.claim(Kept(), PHONE, wrong(desk.new_code().digits), "phone")  # type: ignore[arg-type]
    right = desk.new_code().digits
    with pytest.raises(TooManyTries) as told:
        desk.claim(Kept(), PHONE, right, "phone")  # type: ignore[arg-type]
    assert told.value.wait == TRY_WINDOW
    assert desk.claim(Kept(), "192.0.2.5", right, "tablet")  # type: ignore[arg-type]
    clock.now += TRY_WINDOW
    assert desk.claim(Kept(), PHONE, desk.new_code().digits, "phone")  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["", "  ", "x" * 61, "a\x00b"])
def test_a_device_needs_a_name(desk: PairingDesk, name: str) -> None:
    with pytest.raises(InputError, match="printable characters"):
        desk.claim(Kept(), PHONE, desk.new_code().digits, name)  # type: ignore[arg-type]


# --- the whole way ---


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Browser]:
    with served(tmp_path, host=LAN) as browser:
        closed: list[str] = []

        async def open_door(address: str) -> tuple[int, object]:
            async def close() -> None:
                closed.append(address)

            return PORT, close

        browser.app.state.sharing.use(open_door)
        yield browser


@pytest.fixture
def phone(shop: Browser) -> Browser:
    return another(shop, base_url=f"http://{LAN}:{PORT}")


def test_nobody_comes_in_while_nothing_is_shared(shop: Browser, phone: Browser) -> None:
    assert phone.get("/").status_code == 421
    assert another(shop).get("/").status_code == 403


def test_the_whole_way_of_a_phone(shop: Browser, phone: Browser) -> None:
    assert shop.fill("/book/share", {"on": "yes"}).status_code == 303
    turned = phone.get("/pumps", follow_redirects=False)
    assert (turned.status_code, turned.headers["location"]) == (303, "/pair")
    assert phone.get("/api/records/pump").status_code == 401
    assert phone.get("/static/page.js").status_code == 200

    seen = shop.get("/book").text
    digits = shop.app.state.desk.present_code().digits
    assert f"{digits[:3]} {digits[3:]}" in seen and f"http://{LAN}:{PORT}/" in seen and "<svg" in seen
    assert digits not in phone.get("/pair").text

    fields = {"form_token": phone.token("/pair"), "code": digits, "name": "yard phone"}
    paired = phone.post("/pair", data=fields, follow_redirects=False)
    assert paired.status_code == 303
    line = next(one for one in paired.headers.get_list("set-cookie") if one.startswith("clackwork_device="))
    assert "HttpOnly" in line and "SameSite=lax" in line

    assert phone.fill("/pumps", {"name": "50 mm"}).status_code == 303
    [change] = shop.get("/api/journal?limit=1").json()
    assert change["by"] == "yard phone"

    assert phone.fill("/book/share", {"on": "no"}).status_code == 403
    assert phone.fill("/book/code").status_code == 403
    assert digits not in phone.get("/book").text

    [device] = shop.get("/api/book/devices").json()
    assert device["name"] == "yard phone"
    assert shop.fill(f"/book/devices/{device['id']}/withdraw").status_code == 303
    assert phone.get("/pumps", follow_redirects=False).headers["location"] == "/pair"
    assert shop.fill(f"/book/devices/{device['id']}/withdraw").status_code == 404


def test_turning_sharing_off_shuts_paired_devices_out(shop: Browser, phone: Browser) -> None:
    shop.call("PUT", "/api/book/sharing", {"on": True})
    code = shop.call("POST", "/api/book/code").json()["code"]
    phone.post("/pair", data={"form_token": phone.token("/pair"), "code": code, "name": "phone"})
    assert phone.get("/pumps").status_code == 200
    shop.call("PUT", "/api/book/sharing", {"on": False})
    assert phone.get("/pumps").status_code == 421 and shop.app.state.desk.present_code() is None


def test_a_wrong_code_keeps_the_name_and_many_are_told_to_wait(shop: Browser, phone: Browser) -> None:
    shop.fill("/book/share", {"on": "yes"})
    token = phone.token("/pair")
    for _ in range(TRIES_PER_ADDRESS):
        digits = wrong(shop.app.state.desk.new_code().digits)
        answer = phone.post("/pair", data={"form_token": token, "code": digits, "name": "yard phone"})
        assert answer.status_code == 422 and 'value="yard phone"' in answer.text
    answer = phone.post("/pair", data={"form_token": token, "code": "1", "name": "yard phone"})
    assert answer.status_code == 429 and int(answer.headers["retry-after"]) > 500


def test_a_forged_token_is_no_device(shop: Browser, phone: Browser) -> None:
    shop.fill("/book/share", {"on": "yes"})
    phone.cookies.set("clackwork_device", "A" * 43)
    assert phone.get("/pumps", follow_redirects=False).headers["location"] == "/pair"


def test_a_server_that_cannot_share_says_so(tmp_path: Path) -> None:
    with served(tmp_path) as browser:
        answer = browser.fill("/book/share", {"on": "yes"})
    assert answer.status_code == 422 and "clackwork serve" in answer.text
