"""Is a beer kept in the spelling that came first, so that a second spelling contradicts nothing?"""

from __future__ import annotations

from analysis.ledger import Counts, Ledger, snapshot


def _batch(recipe: str, batch: str = "2417") -> dict[str, str]:
    return {"batch": batch, "recipe": recipe}


def test_a_second_spelling_contradicts_nothing(ledger: Ledger, offer):
    ledger.commit(offer("book.xlsx", batches=[_batch("Pale 1")]), "Ines")
    done = ledger.commit(offer("log.xlsx", batches=[_batch("PALE 1"), _batch("pale 1", "2418")]), "Tam")
    assert done.counts == {"batches": Counts(added=1, unchanged=1)}
    assert ledger.conflicts() == ()
    assert snapshot(ledger).frame("batches")["recipe"].tolist() == ["Pale 1", "Pale 1"]


def test_the_usual_spelling_of_an_intake_is_kept_for_its_targets_too(ledger: Ledger, offer):
    target = {"recipe": "MILD", "quantity": "haze", "upper": 1.0}
    batches = [_batch("MILD"), _batch("Mild", "2418"), _batch("Mild", "2419"), _batch("Mild", "2420")]
    ledger.commit(offer("book.xlsx", batches=batches, targets=[target]), "Ines")
    assert snapshot(ledger).frame("batches")["recipe"].unique().tolist() == ["Mild"]
    assert snapshot(ledger).frame("targets")["recipe"].tolist() == ["Mild"]


def test_a_beer_on_record_in_capitals_stays_so(ledger: Ledger, offer):
    ledger.commit(offer("old.xlsx", batches=[_batch("PALE 1")]), "Ines")
    ledger.commit(offer("new.xlsx", batches=[_batch("Pale 1", "2418")]), "Ines")
    assert snapshot(ledger).frame("batches")["recipe"].unique().tolist() == ["PALE 1"]


def test_a_beer_that_is_not_written_stays_so(ledger: Ledger, offer):
    ledger.commit(offer("book.xlsx", batches=[_batch("Mild"), {"batch": "2418"}]), "Ines")
    ledger.commit(offer("log.xlsx", batches=[_batch("mild", "2419"), {"batch": "2420"}]), "Ines")
    recipes = snapshot(ledger).frame("batches").set_index("batch")["recipe"]
    assert recipes.fillna("").to_dict() == {"2417": "Mild", "2418": "", "2419": "Mild", "2420": ""}
