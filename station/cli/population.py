"""`station demo --motors N`: a population drawn from a seed, recorded by the station's own code, to be studied."""

from collections import Counter, deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from station.bench.bench_file import BenchFile, load_bench
from station.cli.console import results
from station.cli.setup import write_folder
from station.cli.workplace import heading_of
from station.clock import Date, Moment, system_clock
from station.errors import UsageError
from station.judgement.limit_file import LimitFile, parse_limits
from station.record.record import Record
from station.sequence.capturing import peak_range
from station.sequence.files_in_force import files_in_force, keep_files, limit_file
from station.sequence.given_run import GivenRun, conclude_given
from station.sequence.opening import open_store
from station.sequence.record_of_run import Heading
from station.sequence.station_file import Station, load_station
from station.sequence_file import BackDriveStep, SensorSupplyStep, Sequence, parse_sequence
from station.simulated.instant_bench import DigitizerErrors, InstantBench, Turn
from station.simulated.lot import Lot, LotMotor, load_lot
from station.simulated.motor import build_motor
from station.simulated.population import LOTS, Drawn, draw_population, known_bad_toml, motors_toml
from station.simulated.rig import AMBIENT_C
from station.toml_file import read_toml
from station.units import RPM

MOTOR_TYPE, MARK = "CP-40", "CP40-"
KNOWN_BAD = "known_bad.toml"
OPERATOR = "nobody (generated)"
GENERATED = "motor drawn from a seed, captures and indications computed at once, times those of an invented shift"
BOOT_ID = "generated"
CYCLE, SHIFT = 40.0, 72_000.0       # s from one motor to the next, and for one lot at most
TOOK = 20.0                         # s, of one test
PROCESSES, AHEAD = 2, 16            # motors that are computed before the last of them is stored
SUPPLY_VOLTS = 5.0                  # where the sequence powers no sensors


@dataclass(frozen=True, slots=True)
class Line:
    """All that every motor of a population meets alike."""

    limits: LimitFile
    sequence: Sequence
    bench: BenchFile
    errors: DigitizerErrors
    seed: int
    lot: Lot


def make_population(folder: Path, motors: int) -> int:
    """Fill a new folder with a population of so many motors, and print what came of it."""
    write_folder(folder, pace=1.0, free_ports=True, sequence="one-speed")
    station = load_station(folder / "station.toml")
    line, drawn = drawn_line(station, motors)
    _write_down(station, drawn)
    today = system_clock().today()
    tally: Counter[tuple[str, str]] = Counter()
    passed: set[str] = set()
    with ProcessPoolExecutor(PROCESSES, get_context("spawn")) as pool:
        for record in _records(station, line, _ahead(pool, line, drawn.motors), today, motors):
            tally[_lot_of(record["serial"]), record["verdict"]] += 1
            if record["verdict"] == "PASS":
                passed.add(record["serial"])
    _tell(folder, tally, drawn, passed)
    return 0


def run_of(line: Line, motor: LotMotor, number: int) -> GivenRun:
    """Return the run of one motor, the `number`th; any process gives the same waveforms to the last bit."""
    bench = InstantBench(np.random.default_rng([line.seed, 6, number]))
    placed = build_motor(replace(line.lot, motors={motor.serial: motor}), motor.serial, line.seed, AMBIENT_C)
    shown = bench.show(placed, _turns(line.sequence, line.limits), line.errors, ambient_c=AMBIENT_C,
                       supply_volts=_supply_volts(line.sequence))
    accuracy = line.bench.accuracy_of("digitizer")
    shown = replace(shown, captures=tuple(replace(capture, accuracy=accuracy) for capture in shown.captures))
    return conclude_given(motor.serial, shown, line.sequence, line.limits, BOOT_ID)


def drawn_line(station: Station, motors: int) -> tuple[Line, Drawn]:
    """Return so many motors, and what all of them meet at this station; the same for the same seed."""
    if station.simulated is None:
        raise UsageError("station has real instruments", where=str(station.folder), expected="a table [simulated]",
                         got="none", remedy="Motors are drawn only for a simulated station.")
    seed = station.simulated.seed
    build = load_lot(station.folder / station.simulated.lot).types[MOTOR_TYPE]
    limits = parse_limits(read_toml(station.limit_file_for(MARK)))
    errors = InstantBench(np.random.default_rng([seed, 7])).digitizer_errors()
    line = Line(limits, parse_sequence(read_toml(station.sequence)), load_bench(station.bench), errors, seed,
                Lot({build.name: build}, {}))
    return line, draw_population(build, motors, MARK, seed)


def _write_down(station: Station, drawn: Drawn) -> None:
    """Add the motors to the station's lot, and list the bad ones."""
    if station.simulated is not None:
        path = station.folder / station.simulated.lot
        path.write_text(path.read_text(encoding="utf-8") + motors_toml(drawn), encoding="utf-8")
    (station.folder / KNOWN_BAD).write_text(known_bad_toml(drawn), encoding="utf-8")


def _ahead(pool: ProcessPoolExecutor, line: Line, motors: Iterable[LotMotor]) -> Iterator[GivenRun]:
    """Yield the runs in order; only a few are computed ahead, as captures are large."""
    under_way: deque[Future[GivenRun]] = deque()
    for number, motor in enumerate(motors):
        under_way.append(pool.submit(partial(run_of, line), motor, number))
        if len(under_way) > AHEAD:
            yield under_way.popleft().result()
    while under_way:
        yield under_way.popleft().result()


def _records(station: Station, line: Line, runs: Iterator[GivenRun], today: Date, count: int) -> Iterator[Record]:
    """Store every run and yield its record; each lot has a day of its own, the last one yesterday."""
    heading = _heading(station, line, today)
    files = files_in_force(station, line.bench, line.sequence)
    first = datetime.combine(today - timedelta(days=len(LOTS)), time(2), UTC)
    cycle = min(CYCLE, SHIFT * len(LOTS) / count)
    places: Counter[str] = Counter()
    with open_store(station) as store:
        kept = tuple(keep_files(store.folder, (*files, limit_file(line.limits))))
        for run in runs:
            lot = _lot_of(run.serial)
            since = LOTS.index(lot) * 86_400.0 + places[lot] * cycle
            places[lot] += 1
            began = Moment(first + timedelta(seconds=since), since)
            yield run.store(store, replace(heading, files=kept), began, min(TOOK, cycle / 2))


def _heading(station: Station, line: Line, today: Date) -> Heading:
    shift = heading_of(station, line.bench, OPERATOR, today - timedelta(days=len(LOTS)))
    return replace(shift, generated=GENERATED)


def _turns(sequence: Sequence, limits: LimitFile) -> list[Turn]:
    return [Turn(label, rpm * RPM, peak_range(limits, rpm), step.sample_interval_s,
                 round(step.revolutions * 60 / abs(rpm) / step.sample_interval_s))
            for step in sequence.steps if isinstance(step, BackDriveStep)
            for label, rpm in zip(step.labels(), step.targets_rpm(), strict=True)]


def _supply_volts(sequence: Sequence) -> float:
    return next((step.voltage_V for step in sequence.steps if isinstance(step, SensorSupplyStep)), SUPPLY_VOLTS)


def _lot_of(serial: str) -> str:
    return serial.removeprefix(MARK)[0]


def _tell(folder: Path, tally: Counter[tuple[str, str]], drawn: Drawn, passed: set[str]) -> None:
    for lot in LOTS:
        counts = {verdict: tally[lot, verdict] for verdict in ("PASS", "FAIL", "NO RESULT")}
        _say(f"Lot {lot}: " + ", ".join(f"{count} {verdict}" for verdict, count in counts.items()))
    escaped = [serial for serial in drawn.bad if serial in passed]
    _say(f"Known to be bad: {len(drawn.bad)}, listed in {folder / KNOWN_BAD}; {len(escaped)} of them passed.")
    _say("Generated, not tested: no bench was at work, and every record and certificate says so. "
         f"Study it: station study type {MOTOR_TYPE} --station {folder / 'station.toml'}")


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
