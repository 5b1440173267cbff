"""Is the command line light to start, and does it say what it does?"""

import subprocess
import sys

import pytest
from click.testing import CliRunner

from dashboard.commands import COMMANDS, main

HEAVY = ("pandas", "numpy", "dash", "statsmodels", "pyarrow", "sqlalchemy", "scipy")


def test_help_imports_nothing_heavy():
    code = (
        "import sys\nfrom dashboard.commands import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"
    assert "practices" in done.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_says_what_it_does(name):
    result = CliRunner().invoke(main, [name, "--help"])
    assert result.exit_code == 0
    assert "Usage:" in result.output


def test_an_unknown_command_is_misuse():
    result = CliRunner().invoke(main, ["brew"])
    assert result.exit_code == 2
    assert "No such command" in result.output
