"""The command line: the only place where rooms are wired together and a bench is chosen."""

from station.cli.program import main

__all__ = ["main"]
