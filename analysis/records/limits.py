"""How much may one file ask for before it is refused?"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Limits"]

_MEBIBYTE = 1 << 20


@dataclass(frozen=True)
class Limits:
    """What a file may ask for.

    ``workbook_bytes`` and ``text_bytes`` bound the file itself, ``unpacked_bytes`` what a workbook swells to,
    ``memory`` [bytes] and ``processor`` [s] what the process that reads it may use, ``wall`` [s] how long it may take
    in all; ``cells`` and ``columns`` bound one sheet. A sheet of a million readings of ten columns passes.
    """

    workbook_bytes: int = 100 * _MEBIBYTE
    text_bytes: int = 256 * _MEBIBYTE
    unpacked_bytes: int = 1024 * _MEBIBYTE
    memory: int = 1536 * _MEBIBYTE
    processor: int = 60
    wall: float = 90.0
    cells: int = 20_000_000
    columns: int = 1_000

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if value <= 0:
                raise ValueError(f"Limits: {name} must be greater than 0, got {value}")
