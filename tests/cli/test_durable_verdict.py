"""A verdict is on the screen only once it is durable: what `station test` asks of the disk, taken from a trace."""

import random
import sys
from pathlib import Path

import pytest

from station.audit.store_audit import Scope, audit_store
from station.audit.trusted import load_trusted
from station.certificate.key_folder import AUTHORITY_FILE
from station.cli.setup import write_folder
from station.clock import stamp, system_clock
from station.exit_code import ExitCode
from station.record.kept_files import kept_file
from station.record.log_key import PUBLIC_FILE, LogKey
from station.record.store import Store
from station.sequence.station_file import load_station

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
from power_cuts import Disk, cuts, rebuild
from survivors import scratch
from system_calls import Said, Sync, events_under, trace

SERIAL = "CP40-0001"
PROGRAM = [sys.executable, "-c", "from station.cli import main; main()"]


@pytest.fixture(scope="module")
def traced(tmp_path_factory):
    """One motor tested; (folder of the station, events, index of the verdict on the screen)."""
    for _ in range(3):      # an overloaded machine may leave a motor without a result, which is of no use here
        home = tmp_path_factory.mktemp("traced")
        write_folder(home / "line", pace=20.0, free_ports=True)
        words = [*PROGRAM, "test", SERIAL, "--station", home / "line" / "station.toml"]
        printed = trace(words, home / "trace", ends_with=(ExitCode.PASS, ExitCode.NO_RESULT, ExitCode.BENCH_NOT_FIT))
        if f"PASS      {SERIAL}" in printed:
            break
    events = events_under(home / "line", home / "trace")
    verdict, = (i for i, event in enumerate(events) if isinstance(event, Said) and f"PASS      {SERIAL}" in event.text)
    return home / "line", events, verdict


def records_after_cut(root, events, into):
    """Return the records that are certain to survive a power cut after these events, and how many files they name."""
    disk = Disk(str(root))
    for number, event in enumerate(events):
        disk.apply(number, event)
    rebuild(disk.after_cut(random.Random(1), share=0.0), root, into)
    with Store(into / "store") as store:    # as the next start opens it; it would refuse a log that is not whole
        records = store.find()
        for record in records:
            kept_file(into / "store", record["limit_file"]["sha256"])
        return [(record["verdict"], len(store.captures(record)), store.transcript(record) is not None)
                for record in records]


def test_the_record_and_all_its_files_are_durable_before_the_verdict_is_shown(traced, tmp_path):
    root, events, verdict = traced
    assert records_after_cut(root, events[:verdict], tmp_path) == [("PASS", 4, True)]


def test_it_is_the_last_sync_of_the_database_that_makes_it_durable(traced, tmp_path):
    """Else the test above would hold for a verdict shown at any time."""
    root, events, verdict = traced
    last = max(i for i, event in enumerate(events[:verdict]) if isinstance(event, Sync) and event.path.endswith("-wal"))
    assert records_after_cut(root, events[:last], tmp_path) == []
    assert records_after_cut(root, events[:last + 1], tmp_path / "after") == [("PASS", 4, True)]
    assert not any(isinstance(event, Said) and SERIAL in event.text and "PASS" in event.text for event in events[:last])


def test_after_a_power_cut_at_any_moment_the_store_stands_an_audit(traced):
    root, events, verdict = traced
    station = load_station(root / "station.toml")
    trusted = load_trusted(station.keys / AUTHORITY_FILE, station.keys / PUBLIC_FILE, None)
    seen = set()
    for at, state in cuts(list(enumerate(events)), root, random.Random(2), 25):
        with scratch() as home:
            rebuild(state, root, Path(home))
            with Store(Path(home) / "store", log_key=LogKey.load(station.keys), origin=station.origin) as store:
                store.close_unfinished(ended=stamp(system_clock().utc()))
                verdicts = [record["verdict"] for record in store.find()]
            report = audit_store(Path(home) / "store", trusted, Scope(recompute=False))
        assert report.is_clean, (at, report.findings)
        assert verdicts == ["PASS"] or (at <= verdict and verdicts in ([], ["NO RESULT"]))
        seen.add((at > verdict, *verdicts))
    assert {(True, "PASS"), (False, "NO RESULT")} <= seen
