"""`station reanalyse` as a command: what it prints, its exit codes, and how it goes on after it was killed."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from station.cli.population import make_population
from station.exit_code import ExitCode

MOTORS = 6
PROGRAM = [sys.executable, "-c", "from station.cli import main; main()"]


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    folder = tmp_path_factory.mktemp("drawn") / "line"
    make_population(folder, MOTORS)
    return folder / "store"


@pytest.fixture
def told(command, store, tmp_path):
    """Run the command in this process; return exit code and what it told."""
    def run(*words, archive=store):
        code, out, err = command("reanalyse", archive, "--to", tmp_path / "table.parquet", "--workers", 1, *words)
        return code, out or err
    return run


def test_everything_agrees_with_its_record(told, tmp_path):
    code, out = told()
    assert code == ExitCode.PASS
    table = pq.read_table(tmp_path / "table.parquet")
    assert out.splitlines() == [f"{MOTORS} tests with {2 * MOTORS} captures, {table.num_rows} values:",
                                f"  {table.num_rows} agree to the last bit", f"Table: {tmp_path / 'table.parquet'}"]
    assert set(table["serial"].to_pylist()) == {f"CP40-{lot}000{n}" for lot, n in zip("AABBCC", "123456", strict=True)}


def test_json_tells_the_same(told, tmp_path):
    code, out = told("--json", "--serial", "CP40-A*")
    said = json.loads(out)
    assert (code, said["format"], said["tests"], said["captures"], said["whole"]) == (0, 1, 2, 4, True)
    assert said["values"] == {"same": pq.read_metadata(tmp_path / "table.parquet").num_rows}
    assert (said["left_out"], said["differ"], said["remarks"]) == ({}, [], [])


def test_a_changed_capture_is_broken_evidence_until_it_is_back(told, store, tmp_path):
    path = sorted((store / "captures").glob("*.parquet"))[0]
    content = path.read_bytes()
    path.write_bytes(content[:-1] + b"\0")
    try:
        code, out = told("--captures", 2)
    finally:
        path.write_bytes(content)
    assert code == ExitCode.EVIDENCE
    assert "file.altered" in out
    assert "  1 test(s) left out or in part: files are missing or altered" in out
    parts = sorted((tmp_path / "table.parquet.parts").glob("*.parquet"))
    assert len(parts) == MOTORS
    before = {path: path.stat().st_mtime_ns for path in parts}
    code, out = told("--captures", 2, "--json")
    assert (code, json.loads(out)["whole"]) == (0, True)
    assert not any(path.exists() for path in before)


def test_captures_without_records(told, store):
    limits = next(path for path in (store / "files").iterdir() if b"[limits]" in path.read_bytes())
    code, out = told("--limits", limits, archive=store / "captures")
    assert (code, "have no record to be compared with" in out) == (0, True)


@pytest.mark.parametrize(("words", "what"), [
    (["--serial", "nobody"], "no such test"), (["--scheduler", "tcp://127.0.0.1:1"], "a cluster has its own workers"),
    (["--limits", "absent.toml"], "a readable file"), (["--captures", "0"], "greater than or equal to 1"),
])
def test_wrong_use(told, words, what):
    code, err = told(*words)
    assert (code, what in err) == (ExitCode.WRONG_USE, True), err


def test_a_killed_command_goes_on_with_the_parts_that_it_made(store, tmp_path):
    """One part is marked meanwhile: that the mark is in the table shows that the part was not made again."""
    words = [*PROGRAM, "reanalyse", str(store), "--to", "table.parquet", "--workers", "1", "--captures", "2"]
    process = subprocess.Popen(words, cwd=tmp_path, env=environment())
    folder = tmp_path / "table.parquet.parts"
    while not (made := sorted(folder.glob("*.parquet"))):
        assert process.poll() is None
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert not (tmp_path / "table.parquet").exists()
    made = sorted(folder.glob("*.parquet"))
    part = pq.read_table(made[0])
    mark = pa.array(np.full(part.num_rows, 12345.0))
    marked = part.set_column(part.column_names.index("value"), "value", mark)
    pq.write_table(marked.replace_schema_metadata(part.schema.metadata), made[0])
    done = subprocess.run(words, cwd=tmp_path, env=environment(), capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    values = pq.read_table(tmp_path / "table.parquet")["value"].to_pylist()
    assert values.count(12345.0) == part.num_rows
    assert len(values) > part.num_rows * (MOTORS - 1) * 0.9
    assert not folder.exists()


def test_an_interrupted_command_ends_quietly_and_keeps_its_parts(store, tmp_path):
    words = [*PROGRAM, "reanalyse", str(store), "--to", "table.parquet", "--workers", "2", "--captures", "2"]
    process = subprocess.Popen(words, cwd=tmp_path, env=environment(), stderr=subprocess.PIPE, text=True,
                               start_new_session=True)
    while not list((tmp_path / "table.parquet.parts").glob("*.parquet")):
        assert process.poll() is None
        time.sleep(0.01)
    os.killpg(process.pid, signal.SIGINT)       # as the keyboard does: all processes of the terminal
    _, told = process.communicate()
    assert process.returncode == ExitCode.INTERRUPTED
    assert told in {"", "interrupted\n"}
    assert list((tmp_path / "table.parquet.parts").glob("*.parquet"))
    assert not (tmp_path / "table.parquet").exists()


def environment():
    return {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}


def test_only_who_asks_for_a_cluster_pays_for_its_library():
    loaded = subprocess.run([sys.executable, "-c", "import sys, station.cli; print(*sys.modules, sep='\\n')"],
                            check=True, capture_output=True, text=True, env=environment()).stdout.split()
    assert "station.plant.ways" in loaded
    assert "distributed" not in loaded


def test_without_the_library_it_is_said_how_to_get_it(command, store, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "station.plant.cluster", None)
    code, _, err = command("reanalyse", store, "--to", tmp_path / "t.parquet", "--scheduler", "tcp://127.0.0.1:1")
    assert (code, "pip install 'station[cluster]'" in err) == (ExitCode.WRONG_USE, True)


def test_the_parts_of_an_earlier_run_do_not_stand_in_for_other_tests(told, tmp_path):
    """Parts are called by what they are of: another question finds none of them."""
    told("--serial", "CP40-A*")
    one = pq.read_table(tmp_path / "table.parquet")
    told("--serial", "CP40-B*")
    two = pq.read_table(tmp_path / "table.parquet")
    assert set(one["serial"].to_pylist()).isdisjoint(two["serial"].to_pylist())
