"""Which measures can be asked about?"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.linking import PackTable
from analysis.vocabulary import MEASURES, measure

__all__ = ["measure_options", "usual_measure"]

# The two that the finished beer is judged by come first.
_FIRST = ("total_oxygen", "haze")


def measure_options(table: PackTable, stage: str = "pack") -> list[dict[str, str]]:
    """Return the measures that were read at a stage as a select offers them; in the pack, the panel's scores too."""
    if stage == "pack":
        read = [*table.measures, *sorted({str(name) for name in table.tastings["attribute"].dropna().unique()})]
    else:
        at_stage = table.readings[table.readings["stage"].astype("str") == stage]
        found = {str(name) for name in at_stage["quantity"].dropna().unique()}
        read = [name for name in MEASURES if name in found]
    ordered = [*(name for name in _FIRST if name in read), *(name for name in read if name not in _FIRST)]
    return [{"value": name, "label": _label(name)} for name in dict.fromkeys(ordered)]


def _label(name: str) -> str:
    known = measure(name)
    return f"{known.label} (tasted)" if known.is_tasting else known.label


def usual_measure(options: Sequence[dict[str, str]], chosen: object) -> str | None:
    """Return the chosen measure where it is among the options, else the first of them."""
    values = [option["value"] for option in options]
    return chosen if isinstance(chosen, str) and chosen in values else next(iter(values), None)
