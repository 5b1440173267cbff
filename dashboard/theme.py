"""Which colours and letters does the dashboard use, in light and in dark?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["MANTINE_THEME", "PALETTES", "SANS", "Palette", "Scheme", "palette"]

Scheme = Literal["light", "dark"]

SANS = '"Source Sans 3", ui-sans-serif, system-ui, "Segoe UI", Roboto, "Liberation Sans", sans-serif'
SERIF = '"Source Serif 4", ui-serif, Georgia, "Liberation Serif", serif'

# Light to dark: the accent, the colour of clear bottle glass seen at its edge.
_GLASS = (
    "#eef6f7", "#dcecee", "#b9dade", "#93c7ce", "#6fb3bd",
    "#4b9dab", "#187585", "#0f6b7c", "#0b6475", "#084c59",
)  # fmt: skip
_NIGHT = (
    "#e8edee", "#c6d0d4", "#a3b1b8", "#7d8d95", "#4c5b63",
    "#37454c", "#2b373d", "#182126", "#11181c", "#0b1013",
)  # fmt: skip

MANTINE_THEME: Mapping[str, Any] = {
    "colors": {"glass": list(_GLASS), "dark": list(_NIGHT)},
    "primaryColor": "glass",
    "primaryShade": {"light": 8, "dark": 6},
    "black": "#16232b",
    "fontFamily": SANS,
    "headings": {"fontFamily": SERIF, "fontWeight": "560"},
    "defaultRadius": "md",
    "radius": {"xs": "2px", "sm": "4px", "md": "6px", "lg": "10px", "xl": "16px"},
    "cursorType": "pointer",
    "focusRing": "auto",
    "respectReducedMotion": True,
}


@dataclass(frozen=True)
class Palette:
    """The colours a figure is drawn with.

    The four of ``series`` keep a contrast of at least 4.5 to 1 on the ground and stay apart for colour-blind eyes;
    a figure gives each a shape of its own besides.
    """

    ink: str
    soft: str
    line: str
    ground: str
    accent: str
    series: tuple[str, str, str, str]
    limit: str
    band: str


PALETTES: Mapping[Scheme, Palette] = {
    "light": Palette(
        ink="#16232b",
        soft="#4d5c66",
        line="#dfe3e0",
        ground="#ffffff",
        accent="#0b6475",
        series=("#0067a5", "#c44f00", "#007a5a", "#9b4d8b"),
        limit="#5b6a73",
        band="rgba(11,100,117,0.09)",
    ),
    "dark": Palette(
        ink="#e8edee",
        soft="#a3b1b8",
        line="#2b373d",
        ground="#182126",
        accent="#7fcbd9",
        series=("#56b4e9", "#f0a35e", "#3cc6a0", "#d9a0cf"),
        limit="#a3b1b8",
        band="rgba(127,203,217,0.12)",
    ),
}


def palette(scheme: object) -> Palette:
    """Return the palette of a scheme that the browser named; anything but ``"dark"`` is light."""
    return PALETTES["dark" if scheme == "dark" else "light"]
