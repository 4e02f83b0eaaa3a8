"""Reading a TOML contract: the bytes once, their hash, and every fault in one error."""

import hashlib
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from station.errors import Fault, FileContractError

FORMAT = 1

Contract = TypeVar("Contract", bound=BaseModel)


class Table(BaseModel):
    """A table of a contract file: strict types, no unknown keys, no NaN or infinity."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)


@dataclass(frozen=True, slots=True)
class TomlSource:
    """A TOML file as read: its name, its parsed tables, its exact text and the hash of its bytes."""

    name: str
    tables: dict[str, Any]
    text: str
    sha256: str


def read_toml(path: Path) -> TomlSource:
    """Read a TOML file, or raise FileContractError saying why it is none."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise FileContractError([Fault(str(path), "(file)", str(error.strerror or error), "a readable file",
                                       "Give the path of an existing TOML file.")]) from error
    return parse_toml(content, str(path))


def parse_toml(content: bytes, name: str) -> TomlSource:
    """Parse the bytes of a TOML file called `name`."""
    try:
        text = content.decode("utf-8")
        tables = tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise FileContractError([Fault(name, f"byte {error.start}", "bytes that are not UTF-8", "UTF-8 text",
                                       "Save the file as UTF-8.")]) from error
    except tomllib.TOMLDecodeError as error:
        fault = Fault(name, "(file)", str(error), "TOML", "Mend the line named.")
        raise FileContractError([fault]) from error
    return TomlSource(name, tables, text, hashlib.sha256(content).hexdigest())


def check(source: TomlSource, contract: type[Contract]) -> Contract:
    """Return the tables of `source` as `contract`, or raise one error naming every breach."""
    faults = [] if source.tables.get("format") == FORMAT else [_format_fault(source)]
    try:
        checked = contract.model_validate(source.tables)
    except ValidationError as error:
        faults += [_fault(source.name, dict(breach)) for breach in error.errors(include_url=False)
                   if breach["loc"] != ("format",)]
        raise FileContractError(faults) from None
    if faults:
        raise FileContractError(faults)
    return checked


def _format_fault(source: TomlSource) -> Fault:
    got = repr(source.tables["format"]) if "format" in source.tables else "nothing"
    return Fault(source.name, "format", got, f"format = {FORMAT}",
                 f"Put `format = {FORMAT}` at the top, or use the program version that wrote the file.")


_REMEDIES = {
    "missing": "Add the key.",
    "extra_forbidden": "Remove the key or correct its spelling.",
    "finite_number": "Give a finite number.",
}


def _fault(file: str, breach: dict[str, Any]) -> Fault:
    # Tagged unions and dict keys add parts to the location that are no keys of the file.
    key = ".".join(str(part) for part in breach["loc"] if part != "[key]") or "(file)"
    kind = str(breach["type"])
    if kind in {"union_tag_invalid", "union_tag_not_found"}:
        return _kind_fault(file, key, breach)
    got = "nothing" if kind == "missing" else repr(breach["input"])
    wanted = "no such key" if kind == "extra_forbidden" else str(breach["msg"])
    wanted = wanted.removeprefix("Value error, ").removeprefix("Input should be ")
    if kind == "missing":
        wanted = "a value"
    return Fault(file, key, got if len(got) <= 120 else got[:117] + "...", wanted,
                 _REMEDIES.get(kind, "Correct the value."))


def _kind_fault(file: str, key: str, breach: dict[str, Any]) -> Fault:
    """Return the fault of a table whose kind is told by a key that is absent or holds none of the kinds."""
    known: dict[str, str] = breach["ctx"]
    discriminator = known["discriminator"].strip("'")
    if "tag" not in known:
        return Fault(file, f"{key}.{discriminator}", "nothing", "a value", "Add the key.")
    return Fault(file, f"{key}.{discriminator}", repr(known["tag"]), f"one of {known['expected_tags']}",
                 "Correct the value.")
