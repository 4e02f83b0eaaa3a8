"""Runs on the simulated bench with faults armed through its side channel, and what came of each."""

import re
import time
from contextlib import contextmanager
from dataclasses import dataclass

from station.cli.setup import DriveKind, write_folder
from station.cli.workplace import open_workplace
from station.sequence.progress import unwatched
from station.sequence.runs_gate import FurtherRun
from station.sequence.station_file import load_station
from station.simulated.free_port import free_ports
from station.simulated.side_channel import SideChannel

PACE = 100.0
DEADLINE = 0.5      # s, wall, of one answer: loopback takes a millisecond
GOOD = "CP40-0001"
AGAIN = FurtherRun("tester", "the same motor meets one fault after the other")
BAD = ("CP40-0002", "CP40-0004", "CP40-0110", "CP40-0122", "CP40-0124")     # out of limits in one capture each way
EDITS = {
    "bench.toml": (
        ("deadline_s = 4.0\n", f"deadline_s = {DEADLINE}\n"), ("stop_deadline_s = 30.0", "stop_deadline_s = 1.0"),
        ("deadline_s = 10.0", "deadline_s = 1.0"), ("watchdog_s = 5.0", "watchdog_s = 1.0")),
    "sequences/standard.toml": (
        ("speeds_rpm = [1000.0, 2000.0]", "speeds_rpm = [2000.0]"),
        ("sample_interval_s = 4.0e-6", "sample_interval_s = 1.0e-5"), ("dwell_s = 1.0", "dwell_s = 0.5"),
        ("settle_s = 0.05", "settle_s = 0.01"), ("deadline_s = 60.0\non", "deadline_s = 6.0\non"),
        ("deadline_s = 20.0", "deadline_s = 4.0"), ("start_deadline_s = 60.0", "start_deadline_s = 2.0")),
}


@dataclass(frozen=True)
class Case:
    """One motor, and the faults that shall strike while it is tested: (role, kind, after, seconds, times)."""

    serial: str
    faults: tuple = ()


@dataclass(frozen=True)
class Result:
    """What came of a case. `wrong`, `unsafe`, `lost` and `crashed` say what must not be; "" when it is not."""

    case: Case
    verdict: str
    reason: str
    struck: tuple
    wrong: str = ""
    unsafe: str = ""
    told: str = ""          # a hazard that is left, and named in the record so that a person takes over
    lost: str = ""
    crashed: str = ""
    seconds: float = 0.0

    @property
    def evil(self):
        return self.wrong or self.unsafe or self.lost or self.crashed


@contextmanager
def faulty_station(folder, pace=PACE, over="sockets"):
    """Yield (workplace, side channel) of a station with short deadlines and a short sequence.

    `over` "hislip": every instrument is reached so; "modbus": the drive is, the others over raw sockets.
    """
    write_folder(folder, pace=pace, free_ports=True, drive=DriveKind.MODBUS if over == "modbus" else DriveKind.SCPI)
    port = side_port_of(folder)
    if over == "hislip":
        bench = folder / "bench.toml"
        bench.write_text(re.sub(r'"TCPIP::127\.0\.0\.1::(\d+)::SOCKET"', r'"TCPIP::127.0.0.1::hislip0,\1::INSTR"',
                                bench.read_text()))
    for name, edits in (*EDITS.items(), ("station.toml", (("side_port = 0", f"side_port = {port}"),))):
        text = (folder / name).read_text()
        for old, new in edits:
            if old not in text:
                raise ValueError(f"{name} has no {old!r}")
            text = text.replace(old, new)
        (folder / name).write_text(text)
    with open_workplace(load_station(folder / "station.toml"), "tester") as place, SideChannel(port) as side:
        yield place, side


def side_port_of(folder):
    """Return a free port for the side channel of a written folder: none of those that its bench file names."""
    named = {int(port) for port in re.findall(r"127\.0\.0\.1::(\d+)", (folder / "bench.toml").read_text())}
    return next(port for port in free_ports(len(named) + 1) if port not in named)


def run_case(place, side, case):
    """Test the motor of `case` with its faults, mend everything as a person would, and return what came of it."""
    begun = time.monotonic()
    for role, kind, after, seconds, times in case.faults:
        side.fault(role, kind, after=after, seconds=seconds, times=times)
    verdict, reason, lost, crashed = "NO RESULT", "", "", ""
    try:
        record = place.test(case.serial, unwatched, further=AGAIN).record
        verdict, reason = record["verdict"], record["reason"]
        if place.store.unfinished():
            lost = "a run is left open"
    except Exception as error:      # the run must end in a record, whatever happens
        crashed, reason = repr(error), repr(error)
        lost = "" if place.store.unfinished() else "neither a record nor an interrupted run"
        place.close_interrupted()
    unsafe = _unsafe(side)
    struck = tuple(kind for role in dict.fromkeys(fault[0] for fault in case.faults) for kind in side.struck(role))
    told = unsafe if _is_told(unsafe, reason) else ""
    make_good(side)
    return Result(case, verdict, reason, struck, _wrong(case, verdict, struck), "" if told else unsafe, told, lost,
                  crashed, time.monotonic() - begun)


def run_then_next(place, side, case, following):
    """Return what came of a case, and of the motor after it; both once more where that one met a silent instrument.

    A machine that stands still for as long is silent, too; what a fault leaves behind comes again. Nothing else that
    must not be is ever tried again.
    """
    for _ in range(2):
        first, after = run_case(place, side, case), run_case(place, side, following)
        if "got silence" not in after.reason or first.evil or after.unsafe or after.lost or after.crashed:
            break
    return first, after


def make_good(side):
    """Do what a person does before the next motor: end the faults, see that all rests, close the guard."""
    side.emergency_stop(pressed=True)
    side.mend()
    _await(lambda: abs(side.state()["speed_rpm"]) < 1)
    side.emergency_stop(pressed=False)
    side.close_guard()


def _wrong(case, verdict, struck):
    right = "PASS" if case.serial == GOOD else "FAIL"
    if verdict not in (right, "NO RESULT"):
        return f"{verdict} instead of {right}"
    if not struck and verdict != right:
        return f"{verdict} without any fault"
    return ""


def _unsafe(side):
    """Return which hazard is left once a coasting shaft has had time to come to rest."""
    hazards = {
        "shaft": lambda state: state["drive_on"] or abs(state["speed_rpm"]) >= 1,
        "insulation": lambda state: abs(state["insulation_V"]) >= 25,
        "supply": lambda state: state["sensor_supply_on"],
    }
    _await(lambda: not any(is_there(side.state()) for is_there in hazards.values()))
    state = side.state()
    return " ".join(name for name, is_there in hazards.items() if is_there(state))


def _is_told(unsafe, reason):
    """Return whether the reason names every hazard that is left, so that a person takes over."""
    words = {"shaft": "drive: ", "insulation": "insulation: ", "supply": "supply: "}
    return "safe state" in reason and all(words[hazard] in reason for hazard in unsafe.split())


def _await(reached, seconds=0.6):
    end = time.monotonic() + seconds
    while not reached() and time.monotonic() < end:
        time.sleep(0.005)


