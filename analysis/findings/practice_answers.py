"""Was something done because of how the beer read, so that it follows haze rather than moves it?

Finings are given again where a tank is not clear, and a tank that is not clear is left longer. Such a practice goes
with more haze though it may lower it. Where the tanks were read before, that can be seen: more of the practice in
tanks that read hazier. Then nothing but "lowers" is told of it, for that alone cannot come from it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from analysis.findings.practice_rows import MAY_FOLLOW_THE_BEER, Candidate
from analysis.findings.wording import count
from analysis.linking import PackTable
from analysis.verdicts import Judgement, Verdict
from analysis.vocabulary import Measure, agent_of_dose, slug

__all__ = ["HAZY", "answers_to_the_tank", "may_follow_sentence", "not_to_be_told"]

HAZY = ("haze", "haze_forward", "chill_haze", "yeast_count")
_READ = ("haze", "haze_forward", "yeast_count")
_STAGES = ("fermenter", "bright_tank")
_OPERATION: Mapping[str, str] = {
    "finings_count": "finings",
    "rouse_minutes": "rouse",
    "rouse_count": "rouse",
    "cone_dumps": "dump",
}
FEWEST_BATCHES = 12
FOLLOWS = 0.01

Floats = npt.NDArray[np.float64]


def answers_to_the_tank(
    table: PackTable, frame: pd.DataFrame, candidates: Sequence[Candidate], measure: Measure
) -> dict[str, str]:
    """Return, by column, the sentence for each practice of which there was more where the tank had read hazier.

    Parameters
    ----------
    table : PackTable
    frame : DataFrame
        The fitted rows.
    candidates : sequence of Candidate
    measure : Measure
        For another measure than haze and yeast nothing is asked.
    """
    if measure.name not in HAZY or not len(table.readings):
        return {}
    read = table.readings[table.readings["stage"].isin(_STAGES) & table.readings["quantity"].isin(_READ)]
    read = read[(read["value"] > 0) & read["batch"].notna() & read["measured_at"].notna()]
    if not len(read):
        return {}
    read = read.sort_values("measured_at", kind="stable")[["batch", "measured_at", "value"]]
    columns = [candidate.column for candidate in candidates]
    by_batch = frame.groupby("batch")[columns].mean()
    recipe = frame.groupby("batch")["recipe"].first()
    found = {}
    for candidate in candidates:
        begun = _begun(table.operations, candidate)
        batches = 0 if begun is None else _follows(by_batch[candidate.column], recipe, _read_before(read, begun))
        if batches:
            found[candidate.column] = (
                f"may be a consequence of the haze: there was more of it in tanks that had read hazier before "
                f"({count(batches, 'batch', 'batches')}), so that it cannot be told from what called for it"
            )
    return found


def may_follow_sentence(candidate: Candidate, measure: Measure) -> str:
    """Return the caution on a time that may follow from how clear the beer was, empty for all else."""
    if candidate.practice.name not in MAY_FOLLOW_THE_BEER or measure.name not in HAZY:
        return ""
    return "may be a consequence of the beer itself: a tank that is not clear is left longer"


def not_to_be_told(candidate: Candidate, judgement: Judgement, answered: Mapping[str, str], measure: Measure) -> str:
    """Return why a verdict may not stand, empty where it may.

    A remedy that seems to raise haze may only have been called for by it, also where no tank was read before.
    """
    if judgement.verdict in (Verdict.LOWERS, Verdict.CANNOT_TELL_YET) or measure.name not in HAZY:
        return ""
    if candidate.column in answered:
        return answered[candidate.column]
    name = candidate.practice.name
    remedy = name == "finings_count" or agent_of_dose(name) is not None or name in MAY_FOLLOW_THE_BEER
    seems = judgement.verdict is Verdict.RAISES or (judgement.small_but_real and judgement.effect.estimate > 0)
    if remedy and seems:
        return "may be a consequence of the haze: it is what a brewer does, or waits for, where a tank is not clear"
    return ""


def _begun(operations: pd.DataFrame, candidate: Candidate) -> pd.Series | None:
    """Return when each batch first had the operation that a practice counts, None where it counts none."""
    name = candidate.practice.name
    agent = agent_of_dose(name)
    kind = "finings" if agent is not None else _OPERATION.get(name)
    if kind is None or not len(operations):
        return None
    own = operations[operations["operation"] == kind]
    if agent is not None:
        own = own[own["agent"].map(lambda said: isinstance(said, str) and slug(said) == agent)]
    return own.groupby("batch")["started_at"].min()


def _read_before(read: pd.DataFrame, begun: pd.Series) -> pd.Series:
    """Return, by batch, the log of the last haze that its tank showed before something began; the first that it ever
    showed where that never began. ``read`` stands in the order of time."""
    start = read["batch"].map(begun)
    never = read.loc[start.isna()].drop_duplicates("batch", keep="first")
    before = read.loc[read["measured_at"] < start].drop_duplicates("batch", keep="last")
    known = pd.concat([never, before]).set_index("batch")["value"]
    return pd.Series(np.log(known.to_numpy(dtype=np.float64)), index=known.index)


def _follows(done: pd.Series, recipe: pd.Series, before: pd.Series) -> int:
    """Return over how many batches more of a practice followed a hazier reading, 0 where it did not beyond chance."""
    known = done.index.intersection(before.index)
    if len(known) < FEWEST_BATCHES:
        return 0
    codes, names = pd.factorize(recipe[known])
    x, y = (_within(values[known].to_numpy(dtype=np.float64), codes) for values in (before, done))
    df = len(known) - len(names) - 1
    if df < 1 or not float(x @ x) > 0 or not float(y @ y) > 0:
        return 0
    r = float(x @ y) / float(np.sqrt((x @ x) * (y @ y)))
    t = r * np.sqrt(df / max(1.0 - r**2, 1e-12))
    return len(known) if float(stats.t.sf(t, df)) <= FOLLOWS else 0


def _within(values: Floats, codes: npt.NDArray[np.int64]) -> Floats:
    """Return values less their recipe's mean."""
    return np.asarray(values - (np.bincount(codes, values) / np.bincount(codes))[codes])
