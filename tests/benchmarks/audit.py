"""An audit without recomputation against SHA-256 of the same bytes: captures, transcripts, records, certificates.

The archive is made of one motor tested at the embedded bench, its files copied for every further record, all stored,
logged, signed and certified by the station's own program.
"""

import argparse
import hashlib
import os
import shutil
import sqlite3
import sys
import tempfile
from contextlib import closing
from pathlib import Path
from time import perf_counter

from figures import Figure, print_figures

from station.audit.finding import Report, Step
from station.audit.store_audit import Scope, audit_store
from station.audit.trusted import load_trusted
from station.certificate.issue import issue_certificate
from station.certificate.signing import Signer
from station.cli import program
from station.cli.setup import write_folder
from station.record.log_key import LogKey
from station.record.store import Kept, Store

REPEATS = 15
LEAST = 0.5     # of the speed of SHA-256


def make_archive(folder: Path, motors: int) -> None:
    """Test one motor, and store its record `motors` times with copies of its files."""
    write_folder(folder, pace=100.0, free_ports=True)
    program.run(["test", "CP40-0001", "--station", str(folder / "station.toml")])
    key, signer = LogKey.load(folder / "keys"), Signer.load(folder / "keys")
    with Store(folder / "store", log_key=key, origin=key.name) as store:
        record = store.show("CP40-0001")[0]
        lines = store.transcript(record)
        for number in range(2, motors + 1):
            serial = f"CP40-{number:04d}"
            run_id = store.begin(serial, started=record["started"])
            copies = [_copied(folder / "store", entry, number) for entry in record["captures"]]
            body = {name: part for name, part in record.items() if name not in ("run", "log", "attempts")}
            stored = store.finish(run_id, body | {"serial": serial}, copies, lines)
            issue_certificate(store, stored, signer)


def _copied(store: Path, entry: dict[str, str], number: int) -> Kept:
    name = entry["file"].replace("run-000001", f"run-{number:06d}")
    shutil.copy(store / entry["file"], store / name)
    return Kept(name, entry["sha256"], entry["codes_sha256"])


def hash_all(store: Path) -> int:
    """Hash every file that an audit reads, and every record, one after another; return how many bytes there were."""
    size = 0
    for folder in ("captures", "certificates", "files"):
        for path in sorted((store / folder).iterdir()):
            content = path.read_bytes()
            hashlib.sha256(content).digest()
            size += len(content)
    with closing(sqlite3.connect(store / "records.sqlite")) as connection:
        for body, in connection.execute("SELECT body FROM records ORDER BY run_id"):
            hashlib.sha256(body).digest()
            size += len(body)
    return size


def audit(folder: Path) -> Report:
    """Audit without recomputing anything."""
    return audit_store(folder / "store", load_trusted(None, None, folder / "keys"), Scope(recompute=False))


def main() -> int:
    """Print the figures; 0 only if all are met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--motors", type=int, default=60)
    motors = parser.parse_args().motors
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "line"
        make_archive(folder, motors)
        report = audit(folder)      # also brings everything into memory, for both
        assert report.held[Step.SIGNATURE] == motors, report.findings
        assert not [finding for finding in report.findings if not finding.code.startswith("circumstance.clock")]
        hashing, auditing = [], []
        for _ in range(REPEATS):
            began = perf_counter()
            size = hash_all(folder / "store")
            hashing.append(perf_counter() - began)
            began = perf_counter()
            audit(folder)
            auditing.append(perf_counter() - began)
    fastest, audited = min(hashing), min(auditing)
    return print_figures(f"Audit of {motors} motors, {size / 1e6:.0f} MB, {os.cpu_count()} processors", [
        Figure("sha256 of the same bytes, one thread", size / fastest / 1e6, unit="MB/s"),
        Figure("audit without recomputation", size / audited / 1e6, unit="MB/s"),
        Figure("audit over sha256", fastest / audited, least=LEAST),
        Figure("audit of one motor", 1e3 * audited / motors, unit="ms"),
    ])


if __name__ == "__main__":
    sys.exit(main())
