"""Lets the tests of this folder import the signals they share (`hall_signals`)."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
