"""The command line: the only place where rooms are wired together and a bench is chosen."""

import os

# The fits are small: threads of the linear algebra library cost more than they give, many times over
# on a busy machine. It reads this when numpy is first imported, so it stands before every other import.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from station.cli.program import main

__all__ = ["main"]
