"""Does the command of practices refuse what is no measure, and say so in one sentence?"""

import pytest
from click.testing import CliRunner

from dashboard.commands import main


@pytest.mark.parametrize("measure", ["", "  "])
def test_an_empty_measure_is_misuse(tmp_path, measure):
    told = CliRunner().invoke(main, ["practices", measure, "--ledger", f"sqlite:///{tmp_path / 'own.sqlite'}"])
    assert told.exit_code == 2
    assert told.stderr == "Name a measure, such as haze.\n"
    assert told.stdout == ""
