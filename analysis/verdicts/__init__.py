"""What may be said of an effect, and how sure is that?"""

from analysis.verdicts.equivalence import Equivalence, two_one_sided_tests
from analysis.verdicts.margin import WORKING_MARGINS, Margin, MarginAtLevel, strictest, working_margin
from analysis.verdicts.multiplicity import adjusted_p_values, false_coverage_level
from analysis.verdicts.repeated_looks import sequence_reach
from analysis.verdicts.verdict import Effect, Judgement, Verdict, judge_family

__all__ = [
    "WORKING_MARGINS",
    "Effect",
    "Equivalence",
    "Judgement",
    "Margin",
    "MarginAtLevel",
    "Verdict",
    "adjusted_p_values",
    "false_coverage_level",
    "judge_family",
    "sequence_reach",
    "strictest",
    "two_one_sided_tests",
    "working_margin",
]
