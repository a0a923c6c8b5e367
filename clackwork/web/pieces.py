"""The pieces the server is put together from: add a module with a ``router`` here, and it is served."""

from __future__ import annotations

from importlib import import_module

from fastapi import APIRouter

PIECES = (
    "assets",
    "home_pages",
    "pairing_pages",
    "book_pages",
    "price_pages",
    "backup_pages",
    "pump_pages",
    "bench_pages",
    "quick_api",
    "quick_pages",
    "site_list_api",
    "site_list_pages",
    "site_api",
    "site_pages",
    "life_pages",
    "life_api",
    "endurance_pages",
    "endurance_api",
    "visit_pages",
    "visit_api",
    "work_pages",
    "job_api",
    "twin_api",
    "twin_pages",
    "live_api",
    "readings_api",
    "readings_pages",
    "record_pages",
    "record_api",
    "book_api",
)
"""Modules of ``clackwork.web``, each with one `APIRouter` called ``router``; of two with one path the first answers."""


def routers() -> list[APIRouter]:
    """The router of every piece."""
    return [import_module(f"clackwork.web.{name}").router for name in PIECES]
