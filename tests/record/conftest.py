"""Lets the tests of this folder import the writer that is stopped, and what is looked at afterwards."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "benchmarks"))
