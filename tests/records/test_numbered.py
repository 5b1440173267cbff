"""Are "TPO 1", "TPO 2", "TPO 3" three packs or one pack read three times? Common practice, no source."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from analysis.problems import Severity
from analysis.records import Answers, Intake, SheetAnswers, SourceFile, take_in, write_rejects
from analysis.records.headers import read_header
from analysis.records.measure_headers import measure_of

Take = Callable[..., Intake]

RUNS = "R1,7,2026-03-02,{}\nR2,8,2026-03-03,{}\n"


def _told(intake: Intake) -> list[tuple[object, ...]]:
    readings = intake.records["readings"]
    texts = (readings[name].fillna("").tolist() for name in ("run", "sample", "replicate"))
    return list(zip(*texts, readings["value"].tolist(), strict=True))


@pytest.mark.parametrize("measure", ["TPO", "DO", "Haze (NTU)", "CO2 (vols)"])
def test_bare_numbers_beside_a_row_a_run_are_packs(take_csv: Take, measure: str) -> None:
    word, _, unit = measure.partition(" ")
    headers = ",".join(f"{word} {n} {unit or '(ppb)'}".strip() for n in (1, 2, 3))
    cells = "2.4,2.5,2.6"
    intake = take_csv(f"Run,Batch,Packed on,{headers}\n" + RUNS.format(cells, cells))
    assert [told[:3] for told in _told(intake)] == [(run, n, "") for run in ("R1", "R2") for n in ("1", "2", "3")]
    (problem,) = intake.problems
    first = headers.split(",")[0]
    assert (problem.code, problem.severity, problem.column) == ("numbers-taken", Severity.NOTE, first)
    assert "taken for a pack each" in problem.message
    assert f'{{"{first}": "replicate"}}' in problem.remedy
    document = intake.as_document()["files"][0]["sheets"][0]
    assert list(document["numbered"].values()) == ["sample 1", "sample 2", "sample 3"]


def test_a_person_may_say_that_one_pack_was_read_again(take_csv: Take) -> None:
    text = "Run,Batch,Packed on,TPO 1 (ppb),TPO 2 (ppb)\n" + RUNS.format("80,82", "90,91")
    said = SheetAnswers(Answers(numbers={"tpo 2 (PPB)": "replicate"}))
    intake = take_csv(text, answers=said)
    assert [told[:3] for told in _told(intake)] == [
        ("R1", "1", "1"), ("R1", "1", "2"), ("R2", "1", "1"), ("R2", "1", "2"),
    ]  # fmt: skip
    assert "numbers-taken" not in [problem.code for problem in intake.problems]


def test_bare_numbers_beside_a_row_a_can_are_readings_of_it(take_csv: Take) -> None:
    intake = take_csv("Run,Can,Haze 1 (NTU),Haze 2 (NTU)\nR1,1,4,8\nR1,2,12,16\n")
    assert _told(intake) == [("R1", "1", "1", 1.0), ("R1", "1", "2", 2.0), ("R1", "2", "1", 3.0), ("R1", "2", "2", 4.0)]
    said = SheetAnswers(Answers(numbers={"Haze 1 (NTU)": "sample"}))
    as_packs = take_csv("Run,Can,Haze 1 (NTU),Haze 2 (NTU)\nR1,1,4,8\nR1,2,12,16\n", answers=said)
    assert [told[1] for told in _told(as_packs)] == ["1-1", "1-2", "2-1", "2-2"]


def test_rows_that_are_packs_hold_readings_unless_the_reading_spends_the_pack(take_csv: Take) -> None:
    haze = take_csv("Run,Haze 1 (NTU),Haze 2 (NTU)\nR1,4,8\nR1,12,16\nR2,4,8\nR2,12,16\n")
    assert [told[1:3] for told in _told(haze)][:4] == [("1", "1"), ("1", "2"), ("2", "1"), ("2", "2")]
    total = take_csv("Run,TPO 1 (ppb),TPO 2 (ppb)\nR1,80,81\nR1,82,83\nR2,84,85\nR2,86,87\n")
    assert [told[1:3] for told in _told(total)][:4] == [("1-1", ""), ("1-2", ""), ("2-1", ""), ("2-2", "")]
    assert any("a pack is spent by this reading" in problem.message for problem in total.problems)


def test_one_run_in_two_rows_does_not_turn_all_others(take_csv: Take) -> None:
    rows = "R1,40,41\nR2,42,43\nR3,44,45\nR3,46,47\n"
    told = _told(take_csv("Run,DO 1 (ppb),DO 2 (ppb)\n" + rows))
    assert [sample for _, sample, _, _ in told] == ["1", "2", "1", "2", "1-1", "1-2", "2-1", "2-2"]


def test_bare_numbers_in_a_tank_are_readings(take_csv: Take) -> None:
    intake = take_csv("Batch,Tank,Date,DO 1 (ppb),DO 2 (ppb)\n7,FV1,2026-03-02,40,41\n")
    assert [told[1:3] for told in _told(intake)] == [("", "1"), ("", "2")]
    assert any("not read in packs" in problem.message for problem in intake.problems)


def test_packs_of_a_batch_without_a_run_are_packs(take_csv: Take) -> None:
    intake = take_csv("Gyle,TPO 1 (ppb),TPO 2 (ppb)\n7,80,81\n8,82,83\n")
    assert [told[1] for told in _told(intake)] == ["1", "2", "1", "2"]


def test_a_column_without_a_number_beside_numbered_packs_is_of_the_first_pack(take_csv: Take) -> None:
    intake = take_csv("Run,Batch,Packed on,TPO 1 (ppb),TPO 2 (ppb),Haze (NTU)\n" + RUNS.format("80,82,4", "90,91,4"))
    assert [told[1] for told in _told(intake)] == ["1", "2", "1", "1", "2", "1"]
    assert [problem.code for problem in intake.problems] == ["numbers-taken", "sample-first"]


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("TPO can 2", ("sample", "2", "pack")),
        ("Can B TPO (ppb)", ("sample", "B", "pack")),
        ("Pack 2 TPO", ("sample", "2", "pack")),
        ("DO sample 3", ("sample", "3", None)),
        ("BBT DO sample 3 (ppb)", ("sample", "3", "bright_tank")),
        ("DO reading 2 (ppb)", ("replicate", "2", None)),
        ("TPO rep. 1", ("replicate", "1", None)),
        ("Rep 2 haze (NTU)", ("replicate", "2", None)),
        ("TPO replicate 3", ("replicate", "3", None)),
        ("TPO 2", ("number", "2", None)),
        ("TPO #2", ("number", "2", None)),
        ("TPO no. 2 (ppb)", ("number", "2", None)),
        ("TPO test 2", ("number", "2", None)),
        ("TPO 2 ppb", ("number", "2", None)),
        ("BBT DO 2", ("number", "2", "bright_tank")),
    ],
)
def test_a_word_beside_the_number_says_what_it_counts(header: str, said: tuple[str, str, str | None]) -> None:
    read = measure_of(read_header(header))
    assert read is not None
    told = {"sample": read.sample, "replicate": read.replicate, "number": read.number}
    assert ({k: v for k, v in told.items() if v}, read.stage) == ({said[0]: said[1]}, said[2])


def test_packs_that_were_read_twice_keep_both_numbers(take_csv: Take) -> None:
    headers = "Can 1 TPO 1 (ppb),Can 1 TPO 2 (ppb),Can 2 DO (ppb),Can 2 DO (ppb)"
    told = _told(take_csv(f"Run,Batch,Packed on,{headers}\n" + RUNS.format("80,82,40,41", "90,91,42,43")))
    assert [each[1:3] for each in told[:4]] == [("1", "1"), ("1", "2"), ("2", "1"), ("2", "2")]


@pytest.mark.parametrize("word", ["reading", "rep", "replicate"])
def test_readings_and_replicates_are_of_one_pack_whatever_the_rows(take_csv: Take, word: str) -> None:
    headers = f"TPO {word} 1 (ppb),TPO {word} 2 (ppb)"
    intake = take_csv(f"Run,Batch,Packed on,{headers}\n" + RUNS.format("80,82", "90,91"))
    assert [told[2] for told in _told(intake)] == ["1", "2", "1", "2"]
    assert "numbers-taken" not in [problem.code for problem in intake.problems]


@pytest.mark.parametrize(
    ("text", "samples"),
    [
        (
            "Run,Batch,Packed on,DO 1 (ppb),DO 2 (ppb),Haze (NTU)\n" + RUNS.format("40,41,4", "42,oops,4"),
            ["1", "2", "1"],
        ),
        ("Run,DO 1 (ppb),DO 2 (ppb)\nR1,40,41\nR2,42,43\nR3,44,45\nR3,46,oops\n", ["2-1", "2-2"]),
        ("Run,DO 1 (ppb),DO 2 (ppb)\nR1,40,41\nR1,42,43\nR2,44,45\nR2,46,oops\n", ["2", "2"]),
    ],
)
def test_a_rejected_row_comes_back_with_the_packs_it_had(
    take_csv: Take, tmp_path: Path, text: str, samples: list[str]
) -> None:
    first = take_csv(text)
    assert first.sheets[0].rejected == 1
    path = tmp_path / "mend.xlsx"
    write_rejects(first, path)
    whole = _told(take_csv(text.replace("oops", "43")))
    again = take_in([SourceFile(_mended(path), "mend.xlsx")])
    assert [told[1] for told in _told(again)] == samples
    assert set(_told(again)) <= set(whole)


def _mended(path: Path) -> Path:
    book = openpyxl.load_workbook(path)
    sheet = book.worksheets[0]
    for row in sheet.iter_rows():
        for cell in row:
            if cell.value == "oops":
                cell.value = 43
    book.save(path)
    return path


def test_parts_of_a_run_are_packs_of_their_own(take_csv: Take) -> None:
    headers = "DO start (ppb),DO middle (ppb),End DO (ppb),Filler stops"
    intake = take_csv(f"Run,Batch,Packed on,{headers}\n" + RUNS.format("40,35,36,2", "50,38,37,0"))
    assert [told[1:] for told in _told(intake)][:3] == [("start", "", 40.0), ("middle", "", 35.0), ("end", "", 36.0)]
    assert intake.sheets[0].kept_as_extra == ("Filler stops",)
