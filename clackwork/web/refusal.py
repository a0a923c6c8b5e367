"""A request turned away at the door: one sentence, as a bare page or as JSON, before any template is needed."""

from __future__ import annotations

import html

from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import Scope

_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{title}</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<link rel="stylesheet" href="/static/clackwork.css"></head>
<body class="bare"><main><h1>{title}</h1><p>{sentence}</p><p><a class="button" href="/">To the start</a></p></main></body>
</html>"""


def header(scope: Scope, name: bytes) -> str:
    """First value of a header, names in lower case; empty when absent."""
    return next((value.decode("latin-1") for key, value in scope["headers"] if key == name), "")


def wants_json(scope: Scope) -> bool:
    """Whether a request is for the JSON API."""
    path: str = scope["path"]
    return path.startswith("/api/") or path == "/openapi.json"


def refusal(scope: Scope, status: int, title: str, sentence: str) -> Response:
    """The answer to a request that is not let in."""
    if wants_json(scope):
        return JSONResponse({"error": sentence, "status": status}, status)
    words = {"title": html.escape(title), "sentence": html.escape(sentence)}
    if header(scope, b"hx-request") == "true":
        return HTMLResponse('<p class="notice bad" role="alert">{sentence}</p>'.format(**words), status)
    return HTMLResponse(_PAGE.format(**words), status)
