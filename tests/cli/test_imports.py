"""What it costs to start the program: whoever tests a motor does not pay for the libraries of studies."""

import subprocess
import sys

import pytest

FOR_STUDIES = ("scipy", "matplotlib")


@pytest.mark.parametrize("library", FOR_STUDIES)
def test_program_starts_without_libraries_of_studies(library):
    loaded = subprocess.run([sys.executable, "-c", "import sys, station.cli; print(*sys.modules, sep='\\n')"],
                            check=True, capture_output=True, text=True).stdout.split()
    assert "station.cli.study" in loaded
    assert library not in loaded
