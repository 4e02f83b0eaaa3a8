"""An archive for re-analysis: six generated motors of one station, and the first two of them at another station."""

import shutil
from pathlib import Path

from station.cli.population import make_population
from station.record.store import Kept, Store

MOTORS = 6
OTHER = "eol-2"


def make_archive(folder):
    """Fill `folder` with the stores `one` and `two`."""
    make_population(folder / "line", MOTORS)
    shutil.move(folder / "line" / "store", folder / "one")
    with Store(folder / "one", read_only=True) as one, Store(folder / "two", origin=OTHER) as two:
        for record in one.find()[:2]:
            copied(record, one.folder, two)
    return folder


def copied(record, source, store, **changes):
    """Store a record of another store, with its files; `changes` replace what it says."""
    run_id = store.begin(record["serial"], started=record["started"])
    for file in source.joinpath("files").iterdir():
        Path(store.folder / "files").mkdir(exist_ok=True)
        shutil.copy(file, store.folder / "files")
    kept = []
    for number, entry in enumerate(record["captures"], start=1):
        name = f"captures/run-{run_id:06d}-{number}-{entry['label'].replace(' ', '-')}.parquet"
        shutil.copy(source / entry["file"], store.folder / name)
        kept.append(Kept(name, entry["sha256"], entry["codes_sha256"]))
    body = {key: part for key, part in record.items() if key not in ("run", "log", "attempts")}
    return store.finish(run_id, body | changes, kept, None)
