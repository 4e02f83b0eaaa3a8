"""An archive that a station made, small and whole, made once; every test gets a copy of its own to tamper with."""

import json
import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from station.cli import program
from station.cli.setup import write_folder
from station.clock import stamp, system_clock
from station.exit_code import ExitCode
from station.record.log_key import LogKey
from station.record.store import Store
from station.sequence.station_file import load_station

CHECK = {"format": 1, "motor_type": "CP-40", "result": "GOOD", "reasons": [], "done": "", "operator": "A. Auditee",
         "started": "2026-11-25T06:00:00.000Z", "ended": "2026-11-25T06:01:00.000Z", "software": "0.1.0",
         "station": {"id": "EOL-1", "place": "Varnholt Works, hall 2"}, "bench_sha256": 64 * "a",
         "sequence_sha256": 64 * "b", "motors": [
             {"serial": "CP40-R001", "kind": "good", "file": "CP40-R001.toml", "sha256": 64 * "c", "run": 1,
              "verdict": "PASS", "started": "2026-11-25T06:00:00.000Z", "reasons": [], "compared": []}]}


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    """Six entries: a PASS, two runs of a FAIL, a correction, a reference check, a PASS of another type."""
    folder = tmp_path_factory.mktemp("made") / "line"
    write_folder(folder, pace=30.0, free_ports=True)
    place = ("--station", str(folder / "station.toml"))
    assert program.run(["test", "CP40-0001", "CP40-0002", "CP40-0002", *place]) == ExitCode.FAIL
    station = load_station(folder / "station.toml")
    with Store(station.store, log_key=LogKey.load(station.keys), origin=station.origin) as store:
        store.correct(store.show("CP40-0002")[0], "void", person="A. Auditee", reason="lead not plugged in",
                      at=stamp(system_clock().utc()))
        store.add_reference_check(CHECK)
    assert program.run(["test", "VB24-0001", *place]) == ExitCode.PASS
    return folder


@pytest.fixture
def archive(made, tmp_path):
    """A copy of the archive, to be tampered with."""
    return Path(shutil.copytree(made, tmp_path / "line"))


@pytest.fixture
def command(capfd):
    """Run `station WORDS`; return exit code and printed text."""
    def run(*words):
        code = program.run([str(word) for word in words])
        printed = capfd.readouterr()
        return code, printed.out, printed.err

    return run


@pytest.fixture
def audit(capfd):
    """Run `station audit WORDS --json`; return exit code and what it printed."""
    def run(*words):
        code = program.run(["audit", *(str(word) for word in words), "--json"])
        return code, json.loads(capfd.readouterr().out)

    return run


@pytest.fixture
def found(audit, archive):
    """Audit the archive; return its findings as (code, severity, where), notes left out."""
    def run(*words):
        code, told = audit(archive, *words)
        assert all(text for target in told["targets"] for each in target["findings"] for text in each.values())
        findings = [(each["code"], each["severity"], each["where"]) for target in told["targets"]
                    for each in target["findings"] if each["severity"] != "note"]
        assert code == (7 if findings else 0)
        assert told["clean"] is not bool(findings)
        return findings

    return run
