"""The plant file: where the database, the archive and the witness's key are, and where stations ask."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field, field_validator
from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from station.toml_file import Table, check, parse_toml, read_toml

Text = Annotated[str, Field(min_length=1)]
DATABASES = {"postgresql": "postgresql+psycopg", "postgresql+psycopg": "postgresql+psycopg", "sqlite": "sqlite"}
_WANTED = 'a database such as "sqlite:///plant.sqlite" or "postgresql://writer@host/plant"'


class PlantTable(Table):
    """The plant as a witness: under which name it cosigns, and where its key lies."""

    name: Annotated[str, Field(pattern=r"^[!-*,-~]+$")]     # no blank, no plus: signed notes part at them
    keys: Text = "keys"


class DatabaseTable(Table):
    """Where the tables are; `reader` is a role of PostgreSQL that may read them and nothing else."""

    url: Text
    reader: Annotated[str, Field(pattern=r"^[a-z_][a-z0-9_]{0,62}$|^$")] = ""

    @field_validator("url")
    @classmethod
    def _known(cls, url: str) -> str:
        try:
            parts = make_url(url)
        except ArgumentError as error:
            raise ValueError(_WANTED) from error
        if parts.drivername not in DATABASES:
            raise ValueError(_WANTED)
        if parts.password is not None:
            raise ValueError("no password here, as others read this file: put it into ~/.pgpass of the account that "
                             "serves")
        return url


class ArchiveTable(Table):
    """Where waveforms and certificates go: a folder, or any address that fsspec knows."""

    url: Text = "archive"


class CopiesTable(Table):
    """The folder of the copies in the shape of a station's store."""

    folder: Text = "copies"


class ServerTable(Table):
    """Where stations ask; on other addresses than those of this computer itself over TLS alone."""

    host: Text = "127.0.0.1"
    port: Annotated[int, Field(ge=1, le=65535)] = 8490
    certificate: str = ""       # PEM files, of the certificate with those above it, and of its key
    key: str = ""


class PlantContract(Table):
    """A whole plant file."""

    format: int
    plant: PlantTable
    database: DatabaseTable
    archive: ArchiveTable = ArchiveTable()
    copies: CopiesTable = CopiesTable()
    server: ServerTable = ServerTable()


@dataclass(frozen=True, slots=True)
class Plant:
    """A plant as its file describes it, paths resolved."""

    file: Path
    folder: Path
    name: str
    keys: Path
    database: URL
    reader: str
    archive: str        # a folder or an address for fsspec
    copies: Path
    host: str
    port: int
    certificate: Path | None
    key: Path | None


def require_good(content: bytes, name: str) -> None:
    """Raise FileContractError unless these are the bytes of a plant file, to be called `name`."""
    check(parse_toml(content, name), PlantContract)


def load_plant(path: Path) -> Plant:
    """Read a plant file, or raise FileContractError naming every fault."""
    contract = check(read_toml(path), PlantContract)
    folder, server = path.resolve().parent, contract.server
    return Plant(path, folder, contract.plant.name, folder / contract.plant.keys,
                 _database(contract.database.url, folder), contract.database.reader,
                 _archive(contract.archive.url, folder), folder / contract.copies.folder, server.host, server.port,
                 folder / server.certificate if server.certificate else None,
                 folder / server.key if server.key else None)


def _database(text: str, folder: Path) -> URL:
    url = make_url(text)
    url = url.set(drivername=DATABASES[url.drivername])
    if url.drivername == "sqlite" and url.database:
        return url.set(database=str(folder / url.database))
    return url


def _archive(url: str, folder: Path) -> str:
    return url if "://" in url else str(folder / url)
