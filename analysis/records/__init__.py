"""What do a brewery's own spreadsheets say? A spreadsheet in, clean records and problems out."""

from analysis.records.answers import Answers, SheetAnswers
from analysis.records.blank import write_blank
from analysis.records.faults import Question
from analysis.records.intake import SourceFile, take_in
from analysis.records.meaning import column_choices
from analysis.records.rejects import write_rejects
from analysis.records.taken import FileIntake, Intake, RejectedRows, SheetIntake

__all__ = [
    "Answers",
    "FileIntake",
    "Intake",
    "Question",
    "RejectedRows",
    "SheetAnswers",
    "SheetIntake",
    "SourceFile",
    "column_choices",
    "take_in",
    "write_blank",
    "write_rejects",
]
