"""The proofs of the drive's watchdog beside the store's records: written after each, and asked for before a run."""

import json
import os
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

from station.bench.bench_file import BenchFile
from station.bench.watchdog_proof import WatchdogProof
from station.clock import Clock, Instant, stamp
from station.errors import BenchNotFitError
from station.units import from_si

FILE = "watchdog.jsonl"     # in the store's folder, a line of JSON each


def keep_proof(store: Path, bench: BenchFile, proof: WatchdogProof, clock: Clock) -> None:
    """Add the proof to those of `store`, durably."""
    entry = {"time": stamp(clock.utc()), "bench": bench.name, "bench_sha256": bench.sha256,
             "drive": str(bench.entry("drive").identity), "watchdog_s": proof.watchdog, "silence_s": proof.silence,
             "rpm_before": from_si(proof.speed_before, "rpm"), "rpm_after": from_si(proof.speed_after, "rpm"),
             "rpm_later": from_si(proof.speed_later, "rpm"), "drive_says": proof.said,
             "drive_stopped": proof.has_stopped}
    store.mkdir(parents=True, exist_ok=True)
    with (store / FILE).open("a", encoding="utf-8") as file:
        file.write("\n" + json.dumps(entry) + "\n")     # the last line may have been cut off
        file.flush()
        os.fsync(file.fileno())


def require_proof(store: Path, bench: BenchFile, clock: Clock) -> None:
    """Raise BenchNotFitError when the bench file asks for a proof of the watchdog and there is none that holds.

    The last proof of this very drive (maker, model, serial number, firmware) with this watchdog time counts: it must
    have been good and be no older than `watchdog_proof_days`.
    """
    days = bench.drive_limits.proof_days
    if not days:
        return
    why = _why_not(_last_proof(store / FILE, bench), clock.utc(), days)
    if why is not None:
        raise BenchNotFitError(
            "the drive's watchdog is not proven", where=bench.name, got=why,
            expected=f"a good proof of {bench.entry('drive').identity} within {days:g} days, see watchdog_proof_days",
            remedy="Close the guard, keep hands away, and run `station bench check --prove-watchdog`.")


def _why_not(proof: dict[str, Any] | None, now: Instant, days: float) -> str | None:
    if proof is None:
        return "no proof of this drive with its present watchdog time"
    if proof.get("drive_stopped") is not True:
        return f"a proof of {proof['time']} that it does not stop by itself"
    age = now - Instant.fromisoformat(proof["time"])
    if timedelta(0) <= age <= timedelta(days=days):
        return None
    return f"a proof of {proof['time']}" + (", later than now" if age < timedelta(0) else "")


def _last_proof(path: Path, bench: BenchFile) -> dict[str, Any] | None:
    drive, watchdog = str(bench.entry("drive").identity), bench.drive_limits.watchdog
    fitting = [proof for proof in _proofs(path) if (proof["drive"], proof["watchdog_s"]) == (drive, watchdog)]
    return fitting[-1] if fitting else None


def _proofs(path: Path) -> Iterator[dict[str, Any]]:
    """Yield the proofs in the order of the file; what is none, such as a line cut off by a crash, is passed over."""
    try:
        lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    except FileNotFoundError:
        return
    for line in lines:
        try:
            proof = json.loads(line)
            is_dated = Instant.fromisoformat(proof["time"]).tzinfo is not None
        except (ValueError, TypeError, KeyError):
            continue
        if is_dated and {"drive", "watchdog_s", "drive_stopped"} <= proof.keys():
            yield proof
