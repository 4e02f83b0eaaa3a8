"""The files that a station works by: read once more, byte for byte, so that the store can keep them whole."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from station.bench.bench_file import BenchFile
from station.bench.dialect import dialect_path
from station.errors import UsageError
from station.judgement.limit_file import LimitFile
from station.record.kept_files import keep_file
from station.sequence.station_file import Station
from station.sequence_file import Sequence
from station.toml_file import TomlSource, read_toml

Kind = Literal["station file", "bench file", "dialect", "sequence", "limit file", "reference motor", "gauge plan"]


@dataclass(frozen=True, slots=True)
class FileInForce:
    """One of them: what for, its name without folder, and its bytes."""

    kind: Kind
    name: str
    sha256: str
    content: bytes

    def as_record(self) -> dict[str, str]:
        """Return the entry of the record."""
        return {"kind": self.kind, "name": self.name, "sha256": self.sha256}


def files_in_force(station: Station, bench_file: BenchFile, sequence: Sequence) -> tuple[FileInForce, ...]:
    """Return the files that hold for every run of a shift; a limit file comes with its motor, see `limit_file`.

    Raises
    ------
    UsageError
        A file is no longer the one that was read at the start.
    """
    return tuple(_unchanged(*row) for row in _read_at_start(station, bench_file, sequence))


def limit_file(limits: LimitFile) -> FileInForce:
    """Return the limit file as it was read for a motor."""
    return FileInForce("limit file", limits.name, limits.sha256, limits.text.encode())


def keep_files(folder: Path, files: tuple[FileInForce, ...]) -> list[dict[str, str]]:
    """Keep `files` durably in the store at `folder`; return the entries of the record."""
    for file in files:
        keep_file(folder, file.content)
    return [file.as_record() for file in files]


def _read_at_start(station: Station, bench_file: BenchFile, sequence: Sequence
                   ) -> Iterator[tuple[Kind, Path, str | None]]:
    """Yield what each file is for, where it is, and the SHA-256 it had; None for one that is first read here."""
    yield "station file", station.file, station.sha256
    yield "bench file", station.bench, bench_file.sha256
    yield "sequence", station.sequence, sequence.sha256
    tables = read_toml(station.bench).tables["instruments"]
    dialects = {dialect_path(tables[entry.role]["dialect"], station.bench.parent): entry.dialect.sha256
                for entry in bench_file.instruments}
    for path, sha256 in dialects.items():
        yield "dialect", path, sha256
    for path in sorted(station.references.glob("*.toml")):
        yield "reference motor", path, None


def _unchanged(kind: Kind, path: Path, sha256: str | None) -> FileInForce:
    source: TomlSource = read_toml(path)
    if sha256 not in (None, source.sha256):
        raise UsageError(f"{kind} was changed while the station started", where=str(path), expected=f"SHA-256 {sha256}",
                         got=source.sha256, remedy="Start again; then the new file is in force.")
    return FileInForce(kind, path.name, source.sha256, source.text.encode())
