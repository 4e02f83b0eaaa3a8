"""The folder around a copied store: a station file, the public key of the log, and so all that commands ask for."""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from station.errors import StationError
from station.record.capture_file import make_folder, write_durably
from station.record.kept_files import kept_file
from station.record.log_key import PUBLIC_FILE
from station.record.schema import LAST_RECORD
from station.record.signed_note import Ed25519Verifier
from station.record.store import Store
from station.sequence.station_file import StationContract
from station.toml_file import check, parse_toml

STATION_FILE, STORE, KEYS = "station.toml", "store", "keys"
_HEAD = """\
# Written by `station plant copy`: the plant's copy of a station, for reading alone. Nothing is tested or signed by it.
format = 1
"""
_TYPES = "SELECT DISTINCT motor_type FROM records WHERE motor_type <> '' ORDER BY motor_type"


def describe_station(folder: Path, verifier: Ed25519Verifier) -> Path:
    """Write what belongs beside the copied store in `folder`, as its last record has it; return the station file.

    StationError when it cannot be written.
    """
    make_folder(folder / KEYS)
    write_durably(folder / KEYS / PUBLIC_FILE, f"{verifier}\n".encode())
    with Store(folder / STORE, read_only=True) as store:
        lines = [_HEAD, *_tables(store, verifier.name)]
    path = folder / STATION_FILE
    write_durably(path, "\n".join(lines).encode())
    return path


def _tables(store: Store, origin: str) -> Iterator[str]:
    found = store.log.connection.execute(LAST_RECORD).fetchone()
    last: dict[str, Any] = json.loads(found[0]) if found else {}
    station = last.get("station") or {}
    yield _table("[station]", {"id": station.get("id") or origin, "place": station.get("place") or "unknown"})
    yield _table("[files]", {"bench": "bench.toml", "sequence": "sequence.toml", "limits": "limits", "store": STORE})
    yield _table("[signing]", {"keys": KEYS, "origin": origin})
    for mark in _marks(store, last):
        yield _table("[[motor]]", mark)


def _marks(store: Store, last: Mapping[str, Any]) -> list[dict[str, str]]:
    """Return by what serial numbers tell the motor type, as the station file in force at the last test has it.

    Where that is from before it was kept, or cannot be read, the types that were tested stand for it.
    """
    named = next((file for file in last.get("files") or () if file["kind"] == "station file"), None)
    if named is not None:
        try:
            source = parse_toml(kept_file(store.folder, named["sha256"]), named["name"])
            return [{name: value for name, value in mark.model_dump().items() if value}
                    for mark in check(source, StationContract).motor]
        except StationError:    # of a later version, or not handed over yet
            pass
    types = [kind for kind, in store.log.connection.execute(_TYPES)] or ["none"]
    return [{"serial_begins": kind, "limit_file": f"{kind}.toml"} for kind in types]


def _table(head: str, values: Mapping[str, str]) -> str:
    # Strings of JSON are strings of TOML, too, but for characters that are written as pairs of escapes.
    rows = (f"{name} = {json.dumps(value, ensure_ascii=False)}" for name, value in values.items())
    return "\n".join([head, *rows, ""])
