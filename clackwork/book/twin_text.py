"""A fitted twin as JSON and as bytes, exact to the last bit."""

from __future__ import annotations

import dataclasses
import io
import json
import zipfile
from collections.abc import Mapping
from typing import Any

import numpy as np

from clackwork.book.errors import BookError
from clackwork.ram.parts import AirVessel, Build, DeliveryValve, GuidedPoppet, HingedFlap, Snifter
from clackwork.twin.twin import NextRun, Pinned, Residual, Twin

Classes = Mapping[str, Any]
"""Dataclasses by name."""


def classes_by_name(*classes: type) -> dict[str, Any]:
    """Dataclasses as `to_plain` and `from_plain` take them."""
    return {one.__name__: one for one in classes}


BUILD_CLASSES = (Build, GuidedPoppet, HingedFlap, DeliveryValve, AirVessel, Snifter)
_CLASSES = classes_by_name(Twin, Pinned, Residual, NextRun, *BUILD_CLASSES)
_IS = "is a"


def to_plain(thing: Any, arrays: dict[str, np.ndarray[Any, Any]], classes: Classes = _CLASSES) -> Any:
    """A dataclass of ``classes`` as plain data; arrays are put aside under the names of their fields.

    Raises
    ------
    TypeError
        Something that is neither.
    """
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        if type(thing).__name__ not in classes:
            raise TypeError(f"a {type(thing).__name__} cannot be kept")
        plain: dict[str, Any] = {_IS: type(thing).__name__}
        for field in dataclasses.fields(thing):
            value = getattr(thing, field.name)
            if isinstance(value, np.ndarray):
                arrays[field.name] = value
            else:
                plain[field.name] = to_plain(value, arrays, classes)
        return plain
    if isinstance(thing, Mapping):
        return {key: to_plain(value, arrays, classes) for key, value in thing.items()}
    if isinstance(thing, tuple | list):
        return [to_plain(value, arrays, classes) for value in thing]
    if isinstance(thing, np.generic):
        return thing.item()
    if thing is None or isinstance(thing, bool | int | float | str):
        return thing
    raise TypeError(f"a {type(thing).__name__} cannot be kept")


def from_plain(
    plain: Any, arrays: Mapping[str, np.ndarray[Any, Any]] | None = None, classes: Classes = _CLASSES
) -> Any:
    """The inverse of `to_plain`; lists become tuples."""
    if isinstance(plain, list):
        return tuple(from_plain(value, None, classes) for value in plain)
    if not isinstance(plain, dict):
        return plain
    if _IS not in plain:
        return {key: from_plain(value, None, classes) for key, value in plain.items()}
    values = {key: from_plain(value, None, classes) for key, value in plain.items() if key != _IS}
    return classes[plain[_IS]](**values, **(arrays or {}))


def twin_bytes(twin: Twin, rests_on: Mapping[str, Any]) -> bytes:
    """A twin and what it rests on as one block of bytes: a zip with its fields as JSON and its arrays."""
    arrays: dict[str, np.ndarray[Any, Any]] = {}
    fields = json.dumps(to_plain(twin, arrays))  # Python's JSON holds infinities too
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("twin.json", fields)
        archive.writestr("rests_on.json", json.dumps(rests_on))
        for name, array in arrays.items():
            with archive.open(f"{name}.npy", "w") as stream:
                np.lib.format.write_array(stream, np.ascontiguousarray(array), allow_pickle=False)
    return out.getvalue()


def twin_from(content: bytes, name: str) -> tuple[Twin, dict[str, Any]]:
    """The twin that `twin_bytes` wrote, and what it rests on.

    Raises
    ------
    BookError
        Written by a version whose twins were of another shape.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            plain = json.loads(archive.read("twin.json"))
            rests_on = json.loads(archive.read("rests_on.json"))
            arrays = {
                entry.removesuffix(".npy"): np.lib.format.read_array(
                    io.BytesIO(archive.read(entry)), allow_pickle=False
                )
                for entry in archive.namelist()
                if entry.endswith(".npy")
            }
        twin: Twin = from_plain(plain, arrays)
    except (TypeError, KeyError, ValueError, zipfile.BadZipFile) as error:
        raise BookError(f"The kept {name} cannot be read by this version; fit the build again.") from error
    return twin, rests_on
