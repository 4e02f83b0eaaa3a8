"""The file of known-bad motors: those that came back or were made so, by serial number and class of their fault."""

from pathlib import Path
from typing import Annotated

from pydantic import Field

from station.toml_file import Table, check, read_toml

Text = Annotated[str, Field(min_length=1)]


class BadMotor(Table):
    """One motor that is bad for certain, whatever its verdict was."""

    serial: Text
    fault: Text
    note: str = ""


class KnownBadContract(Table):
    """A whole file of known-bad motors."""

    format: int
    motor: Annotated[list[BadMotor], Field(min_length=1)]


def read_known_bad(path: Path) -> dict[str, str]:
    """Return the class of fault of each known-bad motor, by serial; FileContractError naming every fault of the file.

    A motor named twice has the fault named last.
    """
    return {motor.serial: motor.fault for motor in check(read_toml(path), KnownBadContract).motor}
