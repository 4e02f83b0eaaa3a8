"""Motors drawn at random and measured without a bench: two captures and the values at rest, judged like a run."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.analysis.result import CaptureAnalysis
from station.judgement.conclusion import failed_sides
from station.judgement.limit_file import LimitFile, parse_limits
from station.sequence.capturing import peak_range
from station.sequence.given_run import GivenRun, conclude_given
from station.sequence_file import Sequence as Order
from station.sequence_file import parse_sequence
from station.simulated.defect import Defect
from station.simulated.instant_bench import InstantBench, Turn
from station.simulated.lot import Lot, LotMotor, MotorBuild, demo_lot_path, load_lot
from station.simulated.motor import build_motor
from station.toml_file import parse_toml, read_toml
from station.units import RPM

LIMITS = demo_lot_path().parents[2] / "limits"
FREQUENCY = 200.0                 # Hz, electrical: 3000 r/min with four pole pairs
INTERVAL = 1 / (FREQUENCY * 155)  # s; 155 samples in a period
REVOLUTIONS = 8.3
SUPPLY = 5.0                      # V
ORDER = """
format = 1
[sequence]
name = "drawn"
revision = "A"
[[step]]
kind = "back-drive"
name = "Back-drive"
speeds_rpm = [{rpm!r}]
directions = ["forward", "reverse"]
ramp_rpm_per_s = 6000.0
sample_interval_s = {interval!r}
revolutions = {revolutions!r}
deadline_s = 60.0
[[step]]
kind = "winding resistance"
name = "Winding resistance"
deadline_s = 10.0
[[step]]
kind = "insulation"
name = "Insulation"
voltage_V = 500.0
dwell_s = 1.0
deadline_s = 20.0
[[step]]
kind = "sensor supply"
name = "Sensor supply"
voltage_V = {supply!r}
current_limit_A = 0.1
deadline_s = 5.0
"""


@dataclass(frozen=True, slots=True)
class Kind:
    """A motor type as built and as limited."""

    build: MotorBuild
    limits: LimitFile

    @property
    def speed(self) -> float:
        """Mechanical rad/s at which it is turned."""
        return 2 * np.pi * FREQUENCY / self.build.pole_pairs

    def order(self) -> Order:
        """Return the sequence by which it is tested."""
        text = ORDER.format(rpm=round(self.speed / RPM, 9), interval=INTERVAL, revolutions=REVOLUTIONS, supply=SUPPLY)
        return parse_sequence(parse_toml(text.encode(), "drawn.toml"))

    def turns(self) -> list[Turn]:
        """Return the two captures."""
        samples = round(REVOLUTIONS * self.build.pole_pairs / FREQUENCY / INTERVAL)
        span = peak_range(self.limits, self.speed / RPM)
        return [Turn(label, sign * self.speed, span, INTERVAL, samples)
                for label, sign in zip(self.order().labels(), (1, -1), strict=True)]


@dataclass(frozen=True, slots=True)
class Tested:
    """What a drawn motor came to: verdict, what failed, causes named with limits known and per capture without."""

    verdict: str
    failed: tuple[str, ...]
    refused: tuple[str, ...]
    found: tuple[str, ...]
    unlimited: tuple[str, ...]
    texts: tuple[str, ...]
    analyses: tuple[CaptureAnalysis, ...]

    @property
    def is_faulty(self) -> bool:
        """Whether the station would keep this motor from passing."""
        return self.verdict != "PASS"


def kinds() -> tuple[Kind, ...]:
    """Return the three motor types: sine in star, trapezoid in star, delta with sensors 60 degrees apart."""
    builds = load_lot(demo_lot_path()).types
    return tuple(Kind(builds[name], parse_limits(read_toml(LIMITS / f"{name}.toml")))
                 for name in ("CP-40", "VB-24", "CP-60D"))


class Station:
    """Measures drawn motors, each with a bench of its own errors."""

    def __init__(self, random: np.random.Generator) -> None:
        self.random = random
        self._bench = InstantBench(random)

    def test(self, kind: Kind, defects: Sequence[Defect]) -> Tested:
        """Build a motor with `defects`, measure it in both directions and at rest, judge it, name causes."""
        serial = f"D-{self.random.integers(1 << 60)}"
        lot = Lot({kind.build.name: kind.build},
                  {serial: LotMotor(serial=serial, type=kind.build.name, defects=list(defects))})
        seed, ambient_c = int(self.random.integers(1 << 30)), float(self.random.uniform(18.0, 28.0))
        motor = build_motor(lot, serial, seed, ambient_c)
        shown = self._bench.show(motor, kind.turns(), self._bench.digitizer_errors(), supply_volts=SUPPLY,
                                 ambient_c=ambient_c)
        return _tested(conclude_given(serial, shown, kind.order(), kind.limits))


def _tested(run: GivenRun) -> Tested:
    conclusion, analyses = run.concluded.conclusion, run.concluded.analyses
    return Tested(str(conclusion.judgement.verdict), tuple(failed_sides(conclusion.judgement.rows)),
                  tuple(a.refused.code for a in analyses if a.refused),
                  tuple(dict.fromkeys(f.code for f in conclusion.findings)),
                  tuple(dict.fromkeys(f.code for a in analyses for f in a.findings)),
                  tuple(f.text for f in conclusion.findings), analyses)
