"""Can the meter be believed?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.charts import individuals
from analysis.findings.filters import Filters
from analysis.findings.meter_bias import Checked, MeterBias, bias_in_words, interval_in_words
from analysis.findings.meter_course import FEWEST_CHECKS, State, course
from analysis.findings.meter_decisions import MeterDecision
from analysis.findings.meter_deviations import Deviations, deviations
from analysis.findings.meter_episodes import episodes
from analysis.findings.meter_repeats import RepeatStudy, repeat_studies
from analysis.findings.meter_standing import Standing, moved_again, standing_decisions
from analysis.findings.wording import count, day, listing
from analysis.ledger import Snapshot
from analysis.linking import PackTable
from analysis.vocabulary import Measure
from analysis.vocabulary import measure as measure_of

__all__ = ["MetersFinding", "meters"]

_BASELINE = 20
_MOVED = (State.DRIFTING, State.SHIFTED)


@dataclass(frozen=True, eq=False)
class MetersFinding:
    """What the checks and the repeated readings say of every meter, and what was decided about their readings.

    ``standing`` are the decisions that stand, ``taken_back`` those that were taken back.
    """

    question: str
    answer: str
    cautions: tuple[str, ...]
    ledger_state: int
    filters: Filters
    meters: tuple[MeterBias, ...]
    studies: tuple[RepeatStudy, ...]
    standing: tuple[Standing, ...] = ()
    taken_back: tuple[MeterDecision, ...] = ()

    def as_document(self) -> dict[str, object]:
        """Return the JSON document of the command line."""
        return {
            "question": self.question,
            "answer": self.answer,
            "meters": [meter.as_document() for meter in self.meters],
            "studies": [study.as_document() for study in self.studies],
            "decisions": [one.as_document() for one in self.standing],
            "taken_back": [one.as_document() for one in self.taken_back],
            "cautions": list(self.cautions),
            "ledger_state": self.ledger_state,
        }

    def in_words(self) -> tuple[list[str], list[list[str]]]:
        """Return headers and one row a meter and kind of check, for a terminal."""
        headers = ["Meter", "Quantity", "Against", "Checks", "Bias", "95 % interval", "State", "Since"]
        return headers, [
            _row(meter, told) for meter in self.meters for told in (meter.span, meter.zero) if told is not None
        ]


def meters(records: Snapshot, table: PackTable | None = None, decisions: Sequence[MeterDecision] = ()) -> MetersFinding:
    """Return whether each meter can be believed.

    Parameters
    ----------
    records : Snapshot
        The records as they stand; its meter checks, readings, packaging runs, batches and targets are used.
    table : PackTable, optional
        Where each run's recipe is taken from; without it, from the batch numbers that name one recipe only.
    decisions : sequence of MeterDecision
        Every decision about meters, those that were taken back too.
    """
    told = deviations(records.frame("meter_checks"))
    readings = records.frame("readings")
    keys = pd.concat([told.span, told.zero])[["meter", "quantity"]].drop_duplicates().sort_values(["meter", "quantity"])
    found = tuple(_bias(str(m), str(q), told, readings) for m, q in keys.itertuples(index=False))
    studies = repeat_studies(_told_apart(readings, table), _recipes(records, table), records.frame("targets"))
    standing = standing_decisions(decisions, readings, found, records.state)
    return MetersFinding(
        question="Can the meters be believed?",
        answer=_answer(found, studies),
        cautions=_cautions(told, found, studies, standing),
        ledger_state=records.state,
        filters=Filters(),
        meters=found,
        studies=studies,
        standing=standing,
        taken_back=tuple(one for one in decisions if one.taken_back is not None),
    )


def _bias(meter: str, quantity: str, told: Deviations, readings: pd.DataFrame) -> MeterBias:
    measure = measure_of(quantity)
    span = _checked(told.span, meter, measure, at_zero=False)
    zero = _checked(told.zero, meter, measure, at_zero=True)
    made = MeterBias(meter, measure, span, zero, 0, ())
    since = made.worst.since if made.state in _MOVED else None
    own = readings[(readings["meter"] == meter) & (readings["measured_at"] >= since)] if since else readings[:0]
    own_levels = told.levels[(told.levels["meter"] == meter) & (told.levels["quantity"] == quantity)]
    return MeterBias(meter, measure, span, zero, len(own), _of_one(made, own_levels))


def _checked(frame: pd.DataFrame, meter: str, measure: Measure, *, at_zero: bool) -> Checked | None:
    own = frame[(frame["meter"] == meter) & (frame["quantity"] == measure.name)].sort_values("at")
    if not len(own):
        return None
    began = own["at"].iloc[0].to_pydatetime()
    days = ((own["at"] - own["at"].iloc[0]).dt.total_seconds() / 86_400).to_numpy(dtype=np.float64)
    values = own["deviation"].to_numpy(dtype=np.float64)
    now = course(days, values)
    return Checked(
        against_zero=at_zero,
        unit=measure.unit,
        checks=int(own["references"].sum()),
        course=now,
        began=began,
        days=tuple(moment.to_pydatetime() for moment in own["at"]),
        chart=individuals(values, baseline=np.arange(values.size) < _BASELINE).values,
        episodes=episodes(days, values, now),
    )


def _of_one(made: MeterBias, levels: pd.DataFrame) -> tuple[str, ...]:
    said = []
    if made.span is not None and made.zero is None and made.measure.name == "dissolved_oxygen":
        said.append("It was never checked against zero: at the oxygen of a pack that is where most of its error lies.")
    if made.span is None:
        said.append("It was checked against zero alone: nothing is known of its slope.")
    steady = made.span is not None and made.span.course.state is State.STEADY
    by_level = levels.groupby("reference")["deviation"].agg(["mean", "sem", "size"])
    by_level = by_level[by_level["size"] >= FEWEST_CHECKS]
    if steady and 2 <= len(by_level) <= 6:
        ends = by_level.iloc[[0, -1]]
        gap, error = float(np.diff(ends["mean"])[0]), float(np.hypot(*ends["sem"]))
        if error > 0 and abs(gap) / error > 2.58:
            said.append("Its bias is not the same at every reference: it is not a matter of slope alone.")
    if made.worst.course.either_way and made.state in _MOVED:
        said.append("A step and a drift explain its checks about equally well.")
    return tuple(said)


def _answer(found: Sequence[MeterBias], studies: Sequence[RepeatStudy]) -> str:
    if not found and not studies:
        return "No meter check and no repeated reading is on record."
    off = [meter for meter in found if meter.state in _MOVED]
    steady = sorted(meter.meter for meter in found if meter.state is State.STEADY)
    few = sorted(meter.meter for meter in found if meter.state is State.TOO_FEW)
    parts = [meter.sentence for meter in off]
    if steady:
        parts.append(f"{listing(steady)} {'is' if len(steady) == 1 else 'are'} steady.")
    if few:
        parts.append(f"{listing(few)} {'has' if len(few) == 1 else 'have'} too few checks.")
    return " ".join([*parts, *(study.answer for study in studies)])


def _cautions(
    told: Deviations, found: Sequence[MeterBias], studies: Sequence[RepeatStudy], standing: Sequence[Standing]
) -> tuple[str, ...]:
    said = []
    decided = {(one.decision.what.meter, one.decision.what.quantity): one.decision for one in standing}
    open_ = [m.meter for m in found if m.state in _MOVED and _undecided(m, decided.get((m.meter, m.measure.name)))]
    if open_:
        said.append(
            f"{listing(open_)} {'has' if len(open_) == 1 else 'have'} moved, and nobody has decided about the readings "
            "since: charts and verdicts use them as they were read. The model of practices has the meter beside them, "
            "which takes up a steady bias only."
        )
    if told.computed:
        said.append(
            f"The reference of {count(told.computed, 'check')} was computed from temperature and pressure after Benson "
            "and Krause 1984."
        )
    if told.left_out:
        said.append(f"{count(told.left_out, 'check has', 'checks have')} no usable reference or figure.")
    if any(study.recipes > 1 for study in studies):
        said.append(
            "A repeat study over several recipes shows more spread of the beer than there is within one recipe."
        )
    if any(study.margin_is_default for study in studies):
        said.append("A margin in the repeat study is a working default: set your own among the targets.")
    return tuple(said)


def _undecided(meter: MeterBias, decision: MeterDecision | None) -> bool:
    return decision is None or moved_again(decision, meter) is not None


def _told_apart(readings: pd.DataFrame, table: PackTable | None) -> pd.DataFrame:
    """Return the readings under their runs' and batches' own names, where numbers were used in several years."""
    if table is None or not len(table.readings):
        return readings
    linked = table.readings[["record", "run", "batch"]].drop_duplicates("record").set_index("record")
    own = linked.reindex(readings["record"]).set_axis(readings.index)
    return readings.assign(**{name: own[name].where(own[name].notna(), readings[name]) for name in ("run", "batch")})


def _recipes(records: Snapshot, table: PackTable | None) -> pd.Series:
    """Return the recipe of each run, by run."""
    if table is not None and len(table.rows):
        return table.rows.drop_duplicates("run").set_index("run")["recipe"].dropna()
    batches = records.frame("batches").drop_duplicates(["batch", "recipe"]).drop_duplicates("batch", keep=False)
    runs = records.frame("pack_runs").drop_duplicates(["run", "batch"]).drop_duplicates("run", keep=False)
    recipes = runs["batch"].map(batches.set_index("batch")["recipe"])
    return pd.Series(recipes.to_numpy(), index=runs["run"].to_numpy()).dropna()


def _row(meter: MeterBias, told: Checked) -> list[str]:
    bias, low, high = told.bias
    against = "zero" if told.against_zero else "reference"
    since = day(told.since) if told.since else ""
    return [
        meter.meter, meter.measure.label, against, str(told.checks), bias_in_words(bias, told.bias_unit),
        interval_in_words(low, high, told.bias_unit), str(told.course.state), since,
    ]  # fmt: skip
