"""A station killed in mid-test: nothing stored is lost, the motor has NO RESULT, the bench rests."""

import json
import os
import signal
import subprocess
import sys
import time

from broken_runs import side_port_of

from station.record.store import Store
from station.sequence.station_file import load_station
from station.simulated.side_channel import SideChannel


def _station(*words, **options):
    return subprocess.Popen([sys.executable, "-c", "from station.cli import main; main()", *map(str, words)],
                            stdout=subprocess.PIPE, text=True, **options)


def _wait_for_line(process, text):
    for line in process.stdout:
        if text in line:
            return
    raise AssertionError(f"{text!r} never came")


def test_killed_in_mid_test(folder):
    station = folder / "station.toml"
    port = side_port_of(folder)
    station.write_text(station.read_text().replace("side_port = 0", f"side_port = {port}").replace(
        "pace = 20.0", "pace = 2.0"))
    bench = _station("bench", "simulate", "--station", station, "--seconds", "240")
    try:
        _wait_for_line(bench, "side channel")
        first = _station("test", "CP40-0001", "--station", station, "--connect")
        assert first.wait(120) == 0
        first.stdout.close()
        second = _station("test", "CP40-0003", "--station", station, "--connect")
        _wait_for_line(second, "forward 1000")  # the shaft turns
        os.kill(second.pid, signal.SIGKILL)
        second.wait()
        second.stdout.close()

        third = _station("test", "VB24-0001", "--station", station, "--connect")
        assert third.wait(120) == 0
        third.stdout.close()
        with SideChannel(load_station(station).simulated.side_port) as side:
            _at_rest(side)
        with Store(folder / "store", read_only=True) as store:
            records = {record["serial"]: record for record in store.find()}
            verdicts = {serial: record["verdict"] for serial, record in records.items()}
            left = store.transcript(records["CP40-0003"])
        assert verdicts == {"CP40-0001": "PASS", "CP40-0003": "NO RESULT", "VB24-0001": "PASS"}
        said = [json.loads(line) for line in left.splitlines()]
        assert "OUTP ON" in [entry.get("text") for entry in said if entry["role"] == "drive"]   # until it was killed
    finally:
        bench.terminate()
        bench.wait()
        bench.stdout.close()


def _at_rest(side):
    for _ in range(100):
        if abs(side.state()["speed_rpm"]) < 1:
            return
        time.sleep(0.1)
    raise AssertionError("the shaft still turns")
