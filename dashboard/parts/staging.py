"""Where do uploaded files wait until somebody takes them in?"""

from __future__ import annotations

import secrets
import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from typing import IO

from analysis.records import Intake, SourceFile

__all__ = ["Staging", "Stagings", "TooLargeError"]

_CHUNK = 1024 * 1024
_KEPT_SECONDS = 6 * 60 * 60
_MOST_FILES = 60
_LONGEST_NAME = 120


class TooLargeError(ValueError):
    """A file that is larger than the limit."""


@dataclass
class Staging:
    """The files of one visit to the intake page, in a folder of their own.

    ``taken`` is the last reading of them: what is taken in is exactly what was shown.
    """

    token: str
    folder: Path
    touched: float
    files: dict[str, Path] = field(default_factory=dict)
    taken: Intake | None = None

    @property
    def sources(self) -> tuple[SourceFile, ...]:
        """The files by the names that they were uploaded under."""
        return tuple(SourceFile(path, name) for name, path in self.files.items())


@dataclass
class Stagings:
    """All stagings of this server, each known only to the browser that holds its token."""

    folder: Path
    clock: Callable[[], float] = time.monotonic
    _kept: dict[str, Staging] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    @classmethod
    def open(cls, folder: Path | None) -> Stagings:
        """Return stagings in ``folder``, or in a new temporary folder."""
        if folder is None:
            return cls(Path(tempfile.mkdtemp(prefix="dropbright-")))
        folder.mkdir(parents=True, exist_ok=True)
        return cls(folder)

    def begin(self) -> Staging:
        """Return a new, empty staging; those that nobody touched for six hours are thrown away."""
        token = secrets.token_urlsafe(24)
        with self._lock:
            self._drop_old()
            staging = Staging(token, Path(tempfile.mkdtemp(dir=self.folder)), self.clock())
            self._kept[token] = staging
        return staging

    def find(self, token: object) -> Staging | None:
        """Return the staging of a token, or None where there is none (any more)."""
        with self._lock:
            staging = self._kept.get(token) if isinstance(token, str) else None
            if staging is not None:
                staging.touched = self.clock()
            return staging

    def claim(self, token: object) -> Staging | None:
        """Return a staging and forget it, so that nobody can take it in twice; ``keep`` gives it back."""
        with self._lock:
            return self._kept.pop(token, None) if isinstance(token, str) else None

    def keep(self, staging: Staging) -> None:
        """Keep a staging that was claimed but could not be taken in."""
        with self._lock:
            self._kept[staging.token] = staging

    def drop(self, token: object) -> None:
        """Throw a staging and its files away."""
        staging = self.claim(token)
        if staging is not None:
            self.discard(staging)

    def discard(self, staging: Staging) -> None:
        """Throw the files of a claimed staging away."""
        shutil.rmtree(staging.folder, ignore_errors=True)

    def receive(self, staging: Staging, name: str, stream: IO[bytes], limit: int) -> int:
        """Write an uploaded file into its staging and return its size [bytes].

        A file of the same name replaces the earlier one. The name is only a label: the file lies under a name of our
        own, so that no uploaded name can point outside of the folder.

        Raises
        ------
        TooLargeError
            If the file has more than ``limit`` bytes, or the staging holds too many files already.
        """
        label = _label(name)
        if label not in staging.files and len(staging.files) >= _MOST_FILES:
            raise TooLargeError(f"more than {_MOST_FILES} files at once")
        place = staging.folder / f"{secrets.token_hex(8)}{Path(label).suffix.casefold()}"
        size = _copy(stream, place, limit)
        with self._lock:
            earlier = staging.files.get(label)
            staging.files[label] = place
            staging.taken = None
        if earlier is not None:
            earlier.unlink(missing_ok=True)
        return size

    def _drop_old(self) -> None:
        now = self.clock()
        for token, staging in list(self._kept.items()):
            if now - staging.touched > _KEPT_SECONDS:
                del self._kept[token]
                shutil.rmtree(staging.folder, ignore_errors=True)


def _label(name: str) -> str:
    """Return a file's name without folders and control characters, never empty."""
    last = name.replace("\\", "/").rpartition("/")[2]
    clean = "".join(c for c in last if c.isprintable()).strip()
    return clean[-_LONGEST_NAME:] or "file"


def _copy(stream: IO[bytes], place: Path, limit: int) -> int:
    size = 0
    try:
        with place.open("xb") as out:
            while chunk := stream.read(_CHUNK):
                size += len(chunk)
                if size > limit:
                    raise TooLargeError(f"larger than {limit:,} bytes")
                out.write(chunk)
    except BaseException:
        place.unlink(missing_ok=True)
        raise
    return size
