"""How is a frame that was slow to make kept for the next time?"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

import pyarrow as pa
import pyarrow.parquet as pq
from platformdirs import user_cache_path

__all__ = ["Cache", "cache_root"]

_TEMPORARY = ".part"
_ABANDONED = 3600.0  # after which a half-written file is thrown away [s]


def cache_root() -> Path:
    """Return the folder of all caches: the environment variable ``DROPBRIGHT_CACHE``, or the user's cache folder."""
    named = os.environ.get("DROPBRIGHT_CACHE")
    return Path(named) if named else user_cache_path("dropbright", appauthor=False)


class Cache:
    """A folder of tables, each under the name of what it was made from.

    A table is written beside its place and moved there whole, so two programmes may make the same one at once; one
    that cannot be read, or does not have the schema that was asked for, is made again; only the newest of each series
    are kept. A folder that cannot be written costs time and nothing else.
    """

    def __init__(self, folder: Path, keep: int = 3) -> None:
        self._folder = folder
        self._keep = keep

    def table(self, series: str, name: str, make: Callable[[], pa.Table], schema: pa.Schema | None = None) -> pa.Table:
        """Return the table of that name, made where it is not there.

        Parameters
        ----------
        series : str
            What the table is of: a later table of the series takes the place of older ones.
        name : str
            What it was made from; the same name is the same content.
        make : callable
            Makes the table.
        schema : pyarrow.Schema, optional
            What a kept table must look like to be used.
        """
        path = self._folder / f"{series}@{name}.parquet"
        kept = _read(path)
        if kept is not None and (schema is None or kept.schema.equals(schema)):
            return kept
        table = make()
        with suppress(OSError, pa.ArrowException):
            self._write(path, table)
            self._prune(series, path)
        return table

    def _write(self, path: Path, table: pa.Table) -> None:
        self._folder.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f"{path.name}.{uuid4().hex}{_TEMPORARY}")
        try:
            pq.write_table(table, part, compression="zstd", write_page_checksum=True)
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)

    def _prune(self, series: str, newest: Path) -> None:
        """Keep the newest tables of a series, and throw away what was half-written long ago."""
        ages = {path: path.stat().st_mtime for path in self._folder.glob(f"{series}@*.parquet")}
        by_age = sorted(ages, key=lambda path: (path == newest, ages[path]), reverse=True)
        for path in by_age[self._keep :]:
            path.unlink(missing_ok=True)
        for path in self._folder.glob(f"*{_TEMPORARY}"):
            if time.time() - path.stat().st_mtime > _ABANDONED:
                path.unlink(missing_ok=True)


def _read(path: Path) -> pa.Table | None:
    """Return the table in a file, None where there is none or it is damaged."""
    try:
        return pq.read_table(path, page_checksum_verification=True, partitioning=None)
    except (OSError, pa.ArrowException):
        return None
