"""The JSON API driven by its own description: whatever is sent, the answer is one that is described.

Sizes are bounded in the description, so that a request made up from it cannot ask for the whole memory. Routes that open
a door on the network or change which book is open are left out, as are those that begin long work.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis import Case
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import response_schema_conformance, status_code_conformance
from starlette.types import ASGIApp, Receive, Scope, Send

from clackwork.web.app import make_app
from clackwork.web.settings import Settings

pytestmark = pytest.mark.slow

RECORDS = 36
"""Records of the invented book."""

HOST = "127.0.0.1:8765"
CHECKS = [not_a_server_error, status_code_conformance, response_schema_conformance]
DRIVEN = r"^/api/(records|journal|builds/.old.|book/(backups|restore|devices)|book$)"


class AtTheShop:
    """An app asked from its own machine and by its own page."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            kept = [pair for pair in scope["headers"] if pair[0] not in (b"host", b"origin")]
            own = [(b"host", HOST.encode()), (b"origin", b"ht" + f"tp://{HOST}".encode())]
            scope = {**scope, "client": ("127.0.0.1", 50_000), "headers": [*kept, *own]}
        await self.app(scope, receive, send)


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    folder = tmp_path_factory.mktemp("described")
    app = make_app(Settings(folder / "book", folder / "book-demo"))
    app.state.shelf.open_demo()
    yield schemathesis.openapi.from_asgi("/openapi.json", AtTheShop(app))
    app.state.shelf.close()


def meet_records(case: Case) -> None:
    """Turn whole numbers into those of records that are there, so that requests go past the first refusal."""
    for name, number in (case.path_parameters or {}).items():
        if isinstance(number, int):
            case.path_parameters[name] = 1 + number % RECORDS
    for values in (case.query, case.body):
        if isinstance(values, dict) and isinstance(values.get("version"), int):
            values["version"] = 1


def test_no_answer_is_a_failure_inside(described: Any) -> None:
    """Every operation in turn; the case at fault is in the message."""
    driven = [found.ok() for found in described.include(path_regex=DRIVEN).get_all_operations()]
    assert len(driven) > 12
    for operation in driven:

        @settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
        @given(case=operation.as_strategy())
        def drive(case: Case) -> None:
            meet_records(case)
            case.call_and_validate(checks=CHECKS)

        drive()
