"""Is the beer factor a setting that says who set it, when and why, and does it reach the totals that rest on it?"""

from datetime import datetime

import pandas as pd
import pytest

from analysis.findings.beer_factor import WATER, beer_factor, give_up_factor, set_factor
from analysis.ledger import Ledger
from analysis.linking import pack_table
from analysis.linking.beer_solubility import with_beer_factor
from analysis.oxygen import total_oxygen_from_shaken
from analysis.records import SourceFile, take_in

WHEN = datetime(2026, 3, 4, 9, 30)


@pytest.fixture
def ledger(tmp_path):
    with Ledger.open(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as opened:
        yield opened


def test_the_default_says_that_it_is_one(ledger):
    assert beer_factor(ledger) == WATER
    assert WATER.value == 1.0
    assert "the default" in WATER.sentence
    assert WATER.as_document()["is_default"]


def test_a_factor_is_kept_with_who_when_and_why(ledger):
    set_factor(ledger, 0.95, "two meters against a titration", "A. Maltby", WHEN)
    stands = beer_factor(ledger)
    assert (stands.value, stands.by, stands.at) == (0.95, "A. Maltby", WHEN)
    assert "0.950 times as much oxygen as water" in stands.sentence
    assert "by A. Maltby on 4 March 2026, because two meters against a titration." in stands.sentence
    assert stands.as_document() == {
        "value": 0.95, "is_default": False, "set_by": "A. Maltby", "set_at": "2026-03-04T09:30:00",
        "because": "two meters against a titration",
    }  # fmt: skip


def test_giving_it_up_brings_back_the_one_before(ledger):
    set_factor(ledger, 0.95, "first look", "A. Maltby", WHEN)
    set_factor(ledger, 0.9, "second look", "A. Maltby", WHEN)
    assert beer_factor(ledger).value == 0.9
    assert give_up_factor(ledger, "a slip", "B. Malt").value == 0.95
    assert give_up_factor(ledger, "not sure", "B. Malt") == WATER
    with pytest.raises(ValueError, match="none stands"):
        give_up_factor(ledger, "again", "B. Malt")
    assert len(ledger.journal("setting", standing=False)) == 2


@pytest.mark.parametrize(("value", "because", "by"), [(3.0, "why", "who"), (0.9, " ", "who"), (0.9, "why", "")])
def test_a_factor_without_reason_person_or_sense_is_refused(ledger, value, because, by):
    with pytest.raises(ValueError, match="must"):
        set_factor(ledger, value, because, by)
    assert beer_factor(ledger) == WATER


def test_a_computed_total_is_that_of_beer():
    """Against the partition itself: the reading times the factor, in a liquid that dissolves as much less."""
    read = pd.Series([40.0, 55.0, 30.0])
    rows = pd.DataFrame(
        {
            "dissolved_oxygen": read,
            "total_oxygen": total_oxygen_from_shaken(read, 440, 20, 20.0),
            "total_oxygen_computed": [True, True, False],
        }
    )
    told = with_beer_factor(rows, 0.95)["total_oxygen"]
    wanted = total_oxygen_from_shaken(0.95 * read, 440, 20, 20.0, solubility_factor=0.95)
    assert told[:2].tolist() == pytest.approx(wanted[:2].tolist())
    assert told[2] == rows["total_oxygen"][2]
    assert with_beer_factor(rows, 1.0) is rows


SHEET = """Run,Batch,Packed,Format,Size (mL),Headspace (mL),Can,DO (µg/L),Sample temperature (°C)
R1,2417,2026-03-02 08:00,can,440,20,1,40,20
R1,2417,2026-03-02 08:00,can,440,20,2,44,20
"""


def test_the_pack_table_follows_the_setting_and_an_earlier_state_keeps_its_own(ledger, tmp_path):
    """Example A: 40 µg/L shaken in 440/20 mL at 20 °C is 94.43 µg/L in all, by water's solubility."""
    path = tmp_path / "cans.csv"
    path.write_text(SHEET, encoding="utf-8")
    ledger.commit(take_in([SourceFile(path, path.name)]), by="A. Maltby")
    before = pack_table(ledger)
    assert before.rows["total_oxygen"].iloc[0] == pytest.approx(94.43, abs=0.01)
    set_factor(ledger, 0.9, "two meters against a titration", "A. Maltby")
    after = pack_table(ledger)
    assert after.rows["total_oxygen"].iloc[0] == pytest.approx(94.43 - 4.0, abs=0.01)
    (said,) = after.remarks_on("total_oxygen")
    assert "2 readings of total oxygen, worked out from shaken packs, are told by a beer factor of 0.9" in said
    assert "a setting by A. Maltby" in said
    assert after.remarks_on("haze") == before.remarks == ()
    assert pack_table(ledger, before.state).rows["total_oxygen"].iloc[0] == pytest.approx(94.43, abs=0.01)
