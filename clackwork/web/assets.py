"""Scripts, styles and faces, all from inside the package; the chart library as the chart printer's own bundle."""

from __future__ import annotations

import functools
import hashlib
from pathlib import Path

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from clackwork.charts.vega import FONT_FOLDER

STATIC = Path(__file__).resolve().parent / "static"
KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".ttf": "font/ttf",
    ".txt": "text/plain; charset=utf-8",
}
"""What is served, and as what; a file of another ending is not."""

CHART_LIBRARY = "vendor/vega.js"
"""Not a file: made by the installed chart printer, so that page and paper draw with one version."""

_KEEP = "public, max-age=31536000, immutable"
_ASK = "no-cache"

router = APIRouter(include_in_schema=False)


@functools.lru_cache(maxsize=256)
def asset(name: str) -> Path | None:
    """The file behind a name below /static/, None when there is none."""
    folder, inner = (FONT_FOLDER, name.removeprefix("fonts/")) if name.startswith("fonts/") else (STATIC, name)
    path = (folder / inner).resolve()
    inside = path.is_relative_to(folder.resolve())
    return path if inside and path.suffix in KINDS and path.is_file() else None


@functools.cache
def _digest(path: Path, changed_at: int) -> str:
    """Short hash of a file as it was at a time."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:10]


@functools.cache
def _library_version() -> str:
    """The version of the installed chart printer, without loading it."""
    from importlib.metadata import version

    return version("vl-convert-python")


@functools.cache
def chart_library() -> bytes:
    """The chart library as one script; the first call takes about a second."""
    import vl_convert

    return str(vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;")).encode("utf-8")


def static(name: str) -> str:
    """The address of an asset, its content in the query so that it may be kept for ever.

    Raises
    ------
    LookupError
        No such asset.
    """
    if name == CHART_LIBRARY:
        return f"/static/{name}?v={_library_version()}"
    path = asset(name)
    if path is None:
        raise LookupError(f"there is no asset {name}")
    return f"/static/{name}?v={_digest(path, path.stat().st_mtime_ns)}"


@router.get("/static/{name:path}")
async def serve_asset(request: Request, name: str) -> Response:
    """One asset."""
    keep = {"cache-control": _KEEP if request.query_params.get("v") else _ASK}
    if name == CHART_LIBRARY:
        script = await run_in_threadpool(chart_library)
        return Response(script, media_type=KINDS[".js"], headers=keep)
    path = asset(name)
    if path is None:
        raise HTTPException(404)
    return FileResponse(path, media_type=KINDS[path.suffix], headers=keep)
