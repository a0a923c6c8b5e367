"""A file that keeps rows of results as they come, so that stopped work goes on where it was.

One line of JSON says of what the results are; after it come records of one size, each with a checksum. Records are
only ever added, so that a process that is killed leaves whole records and at most one piece, which is dropped.
"""

from __future__ import annotations

import json
import os
import tempfile
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clackwork.errors import ClackworkError, InputError

FloatArray = NDArray[np.float64]
RowArray = NDArray[np.int64]

_KIND = "clackwork sweep 1"
_LONGEST_HEADER = 10_000


@dataclass(frozen=True)
class KeptRows:
    """A file of kept results.

    Attributes
    ----------
    path : Path
    inputs : str
        Digest of all that goes into the results.
    engine : str
        What works them out: sources, compiler, kind of processor.
    rows : int
        Rows of the whole work.
    columns : tuple of str
        Names of the results of one row.
    """

    path: Path
    inputs: str
    engine: str
    rows: int
    columns: tuple[str, ...]

    @property
    def _record(self) -> np.dtype[np.void]:
        return np.dtype([("row", "<i8"), ("results", "<f8", (len(self.columns),)), ("checksum", "<u4")])

    @property
    def _header(self) -> bytes:
        said = {"kind": _KIND, "inputs": self.inputs, "engine": self.engine}
        return json.dumps(said | {"rows": self.rows, "columns": self.columns}).encode() + b"\n"

    def open(self) -> tuple[RowArray, FloatArray]:
        """Begin the file, or read what it keeps.

        Returns
        -------
        rows : int64[kept]
        results : float64[kept, len(columns)]

        Raises
        ------
        InputError
            When the file keeps results of other inputs or another engine, or is no such file.
        ClackworkError
            When it cannot be read or written.
        """
        try:
            content = self.path.read_bytes() if self.path.exists() else b""
            if not content:
                self._replace(np.zeros(0, self._record))
                return np.zeros(0, np.int64), np.zeros((0, len(self.columns)))
            body = content[self._check_header(content) :]
            size = self._record.itemsize
            whole = np.frombuffer(body[: len(body) // size * size], self._record)
            sound = whole[np.array([self._is_sound(record) for record in whole], dtype=bool)]
            if len(body) != sound.nbytes:  # a piece at the end would set all that follows it out of step
                self._replace(sound)
        except OSError as error:
            raise self._cannot("used", error) from error
        return sound["row"].astype(np.int64), sound["results"].astype(np.float64)

    def add(self, rows: RowArray, results: FloatArray) -> None:
        """Keep more rows.

        Parameters
        ----------
        rows : int64[n]
        results : float64[n, len(columns)]

        Raises
        ------
        ClackworkError
            When the file cannot be written.
        """
        records = np.zeros(len(rows), self._record)
        records["row"], records["results"] = rows, results
        records["checksum"] = [self._checksum(record) for record in records]
        try:
            with self.path.open("ab", buffering=0) as file:
                file.write(records.tobytes())
        except OSError as error:
            raise self._cannot("written", error) from error

    def _checksum(self, record: np.void) -> int:
        return zlib.crc32(record.tobytes()[:-4])

    def _is_sound(self, record: np.void) -> bool:
        return bool(record["checksum"] == self._checksum(record) and 0 <= record["row"] < self.rows)

    def _check_header(self, content: bytes) -> int:
        """Length of the header of a file that fits; raises when it does not."""
        length = content.find(b"\n", 0, _LONGEST_HEADER) + 1
        try:
            said = json.loads(content[:length])
        except ValueError:
            said = None
        if not isinstance(said, dict) or said.get("kind") != _KIND:
            raise self._refused("it must be a file in which a sweep keeps its results, or a new one")
        if said.get("inputs") != self.inputs:
            raise self._refused(f"it keeps results of other inputs ({said.get('rows')} rows; these are {self.rows})")
        if content[:length] != self._header:
            raise self._refused(f"its results are of another engine ({said.get('engine')}; this is {self.engine})")
        return length

    def _replace(self, records: NDArray[np.void]) -> None:
        """Write the file anew, in one stroke."""
        handle, name = tempfile.mkstemp(dir=self.path.parent, prefix=self.path.name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(self._header + records.tobytes())
            os.replace(name, self.path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise

    def _refused(self, allowed: str) -> InputError:
        return InputError("keep", self.path, allowed, "Name another file, or delete this one if it is not needed.")

    def _cannot(self, done: str, error: OSError) -> ClackworkError:
        return ClackworkError(f"keep = {self.path} could not be {done}: {error.strerror or error}. Name another file.")
