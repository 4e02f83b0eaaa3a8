"""Lets the tests of this folder import the runs with faults that the soak is made of."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "benchmarks"))
