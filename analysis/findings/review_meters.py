"""Which meters that read a matter's runs had left their course by then?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.findings.meter_bias import MeterBias
from analysis.findings.meter_course import State
from analysis.findings.meters import MetersFinding
from analysis.findings.review_matters import Matter
from analysis.findings.wording import count, day

__all__ = ["drifted_beside", "drifted_in_words"]


def drifted_beside(matter: Matter, meters: MetersFinding) -> tuple[str, ...]:
    """Return a sentence for each meter that has drifted or shifted and read runs of the matter since."""
    own = matter.chart.iloc[matter.stretch.first : matter.stretch.last + 1]
    told = (_sentence(own, meter, _decided(meter, meters)) for meter in _off(meters))
    return tuple(sentence for sentence in told if sentence)


def drifted_in_words(meters: MetersFinding) -> tuple[str, ...]:
    """Return what to know of each meter that has drifted or shifted."""
    return tuple(meter.sentence for meter in _off(meters))


def _off(meters: MetersFinding) -> list[MeterBias]:
    return [meter for meter in meters.meters if meter.state in (State.DRIFTING, State.SHIFTED)]


def _decided(meter: MeterBias, meters: MetersFinding) -> str:
    """Return what somebody decided to do with a meter's readings, in words; "" where nothing is done with them."""
    for one in meters.standing:
        what = one.decision.what
        if (what.meter, what.quantity) == (meter.meter, meter.measure.name) and one.readings:
            return f" Its readings are {what.treatment} by decision {one.decision.number} ({one.decision.by})."
    return ""


def _sentence(own: pd.DataFrame, meter: MeterBias, decided: str) -> str:
    since = meter.worst.since
    read = own["meter"].fillna("").map(lambda names: meter.meter in str(names).split(" + ")).to_numpy(np.bool_)
    if since is not None:
        read = read & (own["at"] >= pd.Timestamp(since)).to_numpy(np.bool_)
    runs = int(read.sum())
    if not runs:
        return ""
    moved = "drifting" if meter.state is State.DRIFTING else "off since a shift"
    began = f" since about {day(since)}" if since is not None else ""
    return f"{meter.meter} has been {moved}{began} and read {count(runs, 'run')} of these {len(own)}.{decided}"
