"""With which limits and in whose network does the dashboard run?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

__all__ = ["Settings"]

MEBIBYTE = 1024 * 1024


@dataclass(frozen=True)
class Settings:
    """What may differ between two dashboards.

    ``demo`` says on every page that the data is invented. ``upload_limit`` bounds one uploaded file [bytes],
    ``request_limit`` any other request's body [bytes]. ``staging`` is the folder where uploaded files wait until they
    are taken in (None: a new temporary folder). ``hosts`` are further names by which people reach this machine: a
    request that asks for another name is refused, because a hostile web page can give this machine a name of its own.
    """

    demo: bool = False
    upload_limit: int = 200 * MEBIBYTE
    request_limit: int = 4 * MEBIBYTE
    staging: Path | None = None
    hosts: tuple[str, ...] = ()
