"""A starter folder on free ports, and the command line run in this process."""

import sys
from pathlib import Path

import pytest

from station.cli import program
from station.cli.setup import write_folder

TESTS = Path(__file__).parent.parent
sys.path[:0] = [str(TESTS / "plant"), str(TESTS / "benchmarks")]    # stations that hand over, and that meet faults


@pytest.fixture
def folder(tmp_path):
    """A starter folder of its own."""
    write_folder(tmp_path / "line", pace=20.0, free_ports=True)
    return tmp_path / "line"


@pytest.fixture
def command(capfd):
    """Run `station WORDS`; return exit code and printed text."""
    def run(*words):
        code = program.run([str(word) for word in words])
        printed = capfd.readouterr()
        return code, printed.out, printed.err

    return run
