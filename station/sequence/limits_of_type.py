"""Which limit file a station tests the motors of a type by."""

from pathlib import Path

from station.errors import FileContractError, UsageError
from station.judgement.limit_file import LimitFile, parse_limits
from station.sequence.station_file import Station
from station.toml_file import read_toml


def limit_files(station: Station) -> list[Path]:
    """Return the limit files that the station file names, whether they are there or not."""
    return sorted({station.limits / mark.limit_file for mark in station.marks})


def limit_file_of(station: Station, motor_type: str) -> Path:
    """Return the limit file of a motor type, as the station file names it; UsageError when it does not."""
    paths = limit_files(station)
    found = [path for path in paths
             if (parse_limits(read_toml(path)).motor_type.name if path.exists() else path.stem) == motor_type]
    if len(found) != 1:
        raise UsageError("the station file names no one limit file for this motor type", where=str(station.file),
                         expected=f"one file of {motor_type}", got=", ".join(path.name for path in found) or
                         "files of others: " + ", ".join(path.name for path in paths),
                         remedy="Add a [[motor]] with limit_file to the station file, or correct the type's name.")
    return found[0]


def limits_in_force(station: Station) -> dict[str, LimitFile]:
    """Return the limit files that the station file names, by motor type; those that do not hold are left out."""
    found = {}
    for path in limit_files(station):
        try:
            limits = parse_limits(read_toml(path))
        except FileContractError:       # told wherever somebody asks for that type
            continue
        found[limits.motor_type.name] = limits
    return found
