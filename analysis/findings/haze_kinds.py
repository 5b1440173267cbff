"""How much of a recipe's haze is there only when the beer is cold, and at which temperature was a tank read?

A tank read cold shows permanent and chill haze together; a pack read at 20 °C shows permanent haze alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from analysis.estimate import Estimate
from analysis.findings.wording import amount, count
from analysis.haze import COLD, WARM
from analysis.linking import PackTable

__all__ = ["HazeKinds", "haze_kinds"]

_FEWEST = 3
_COLD_TANK, _WARM_TANK = 6.0, 15.0


@dataclass(frozen=True)
class HazeKinds:
    """What is known of a recipe's permanent and chill haze, and of how its tank was read.

    ``chill`` and ``permanent`` [EBC] are means over the ``batches`` whose packs were read cold and warm, None below
    three; ``tank_temperature`` [°C] is the median of the tank's own haze readings, NaN where none is written.
    """

    recipe: str
    batches: int
    chill: Estimate | None
    permanent: Estimate | None
    tank_temperature: float

    @property
    def sentences(self) -> tuple[str, ...]:
        """What to say of it."""
        return tuple(words for words in (self._of_the_tank(), self._of_the_packs()) if words)

    def _of_the_tank(self) -> str:
        at = self.tank_temperature
        if math.isnan(at):
            return "At which temperature the tank was read is not on record: cold beer shows its chill haze as well."
        read = f"The tank was read at about {at:.0f} °C"
        if at <= _COLD_TANK:
            return f"{read}: that is permanent and chill haze together, and so is this forecast."
        if at >= _WARM_TANK:
            return f"{read}: that is permanent haze, and the forecast says nothing of chill haze."
        return f"{read}, between the two temperatures at which chill and permanent haze are told apart."

    def _of_the_packs(self) -> str:
        if self.chill is None or self.permanent is None:
            return (
                f"Too few batches of {self.recipe or 'this recipe'} were read in the pack both at {COLD:.0f} °C and at "
                f"{WARM:.0f} °C to say how much of its haze is chill haze."
            )
        chill, permanent = self.chill, self.permanent
        return (
            f"In the packs of {count(self.batches, 'batch', 'batches')} read both cold and warm, permanent haze at "
            f"{WARM:.0f} °C was {_told(permanent)}, and chill haze came to {_told(chill)} on top of it at "
            f"{COLD:.0f} °C."
        )

    def as_document(self) -> dict[str, object]:
        """Return it as a JSON document has it."""
        return {
            "batches": self.batches, "chill": _document(self.chill), "permanent": _document(self.permanent),
            "tank_temperature": None if math.isnan(self.tank_temperature) else self.tank_temperature,
        }  # fmt: skip


def haze_kinds(table: PackTable, recipe: str, tank: pd.DataFrame) -> HazeKinds:
    """Return what is known of a recipe's permanent and chill haze.

    Parameters
    ----------
    table : PackTable
    recipe : str
    tank : DataFrame
        The tank's own haze readings, with ``temperature`` [°C] where it is written.
    """
    read = pd.to_numeric(tank["temperature"]) if "temperature" in tank else pd.Series(dtype=float)
    at = float(read.median()) if read.notna().any() else math.nan
    rows = table.rows
    if not {"haze", "chill_haze"} <= set(rows.columns):
        return HazeKinds(recipe, 0, None, None, at)
    own = rows[(rows["recipe"] == recipe) & rows["chill_haze"].notna() & rows["haze"].notna()]
    by_batch = own.groupby("batch")[["chill_haze", "haze"]].mean()
    if len(by_batch) < _FEWEST:
        return HazeKinds(recipe, len(by_batch), None, None, at)
    chill, permanent = (_mean(by_batch[name].to_numpy(dtype=float)) for name in ("chill_haze", "haze"))
    return HazeKinds(recipe, len(by_batch), chill, permanent, at)


def _mean(found: np.ndarray) -> Estimate:
    middle, error = float(found.mean()), float(found.std(ddof=1)) / math.sqrt(found.size)
    reach = float(stdtrit(found.size - 1, 0.975)) * error
    return Estimate(middle, middle - reach, middle + reach, "EBC", error, found.size - 1)


def _told(estimate: Estimate) -> str:
    return f"{amount(estimate.value, 'EBC')} ({amount(estimate.low)} to {amount(estimate.high)})"


def _document(estimate: Estimate | None) -> dict[str, float] | None:
    return None if estimate is None else {"value": estimate.value, "low": estimate.low, "high": estimate.high}
