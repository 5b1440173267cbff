"""What unit did they write, and what is it in the kept unit?"""

from __future__ import annotations

__all__ = ["is_unit"]


def is_unit(text: str) -> bool:
    return text in {"ppb", "EBC"}
