"""Lets the tests of this folder import the small disks beside them, and the writer that is stopped."""

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "benchmarks")]
