"""The three verdicts, for one value and for a whole motor."""

from enum import StrEnum


class Verdict(StrEnum):
    """PASS and FAIL speak of the motor; NO RESULT says that the station could not tell."""

    PASS = "PASS"  # noqa: S105 - a verdict, no password
    FAIL = "FAIL"
    NO_RESULT = "NO RESULT"
