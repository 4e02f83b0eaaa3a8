"""The lot file: motor types as they are built, and the motors of the lot with their defects."""

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from station.errors import Fault, FileContractError, UsageError
from station.simulated.defect import Defect
from station.toml_file import Table, check, read_toml

Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]


class Rise(Table):
    """Rotor electrical angle at which each sensor goes high, degrees."""

    a: float
    b: float
    c: float


class Harmonic(Table):
    """A harmonic of the winding's voltage: amplitude as a share of the fundamental, and its phase."""

    order: Annotated[int, Field(ge=2, le=50)]
    share: float
    phase_deg: float = 0.0


class MotorBuild(Table):
    """A motor type as it is built. Units are in the key names; the rest are SI."""

    name: Annotated[str, Field(min_length=1)]
    pole_pairs: Annotated[int, Field(ge=1, le=40)]
    winding: Literal["star", "delta"]
    rated_voltage_V: Positive  # noqa: N815 - units in file keys keep their case
    back_emf_constant: Positive                      # V/krpm, peak line to line, 20 °C
    shape: Literal["sine", "trapezoid"]
    flat_deg: Annotated[float, Field(ge=0.0, lt=180.0)] = 120.0   # of a trapezoid's winding voltage
    harmonics: list[Harmonic] = Field(default_factory=list)
    line_resistance_ohm: Positive                    # between two lines, 20 °C
    inertia: Positive                                # kg m2
    drag_torque: NotNegative                         # N m, Coulomb
    drag_viscous: NotNegative = 0.0                  # N m s/rad
    cogging_torque: NotNegative = 0.0                # N m, amplitude
    cogging_order: Annotated[int, Field(ge=1)]       # periods per revolution
    pole_coupling: Annotated[float, Field(ge=0.0, le=1.0)] = 0.0  # share of a pole's own strength seen per cycle
    sensor_spacing_deg: Literal[60, 120]
    sensor_rise_deg: Rise
    sensor_hysteresis: Annotated[float, Field(gt=0.0, lt=0.5)] = 0.017  # of the peak field, each side of zero
    sensor_delay_s: NotNegative = 2e-6
    sensor_fall_s: Positive = 3e-7                   # time constants of the output's edges
    sensor_rise_s: Positive = 1.5e-6
    magnet_per_K: float = -0.0011  # noqa: N815
    copper_constant_C: Positive = 235.0  # noqa: N815
    insulation_megohm: Positive = 3000.0
    spread: Annotated[float, Field(ge=0.0, le=2.0)] = 1.0   # of the random differences between good units


class LotMotor(Table):
    """One motor of the lot."""

    serial: Annotated[str, Field(min_length=1, max_length=64)]
    type: str
    defects: list[Annotated[Defect, Field(discriminator="kind")]] = Field(default_factory=list)


class _LotFile(Table):
    format: int
    motor_type: Annotated[list[MotorBuild], Field(min_length=1)]
    motor: list[LotMotor]


@dataclass(frozen=True, slots=True)
class Lot:
    """Motor types by name and motors by serial number, in the order of the file."""

    types: dict[str, MotorBuild]
    motors: dict[str, LotMotor]

    def motor(self, serial: str) -> LotMotor:
        """Return the motor of this serial number, or raise UsageError."""
        try:
            return self.motors[serial]
        except KeyError:
            raise UsageError("no such motor in the lot", where="simulated lot",
                             expected="a serial number of the lot", got=repr(serial),
                             remedy="Choose one of: " + ", ".join(self.motors)) from None


def load_lot(path: Path) -> Lot:
    """Read a lot file, or raise one FileContractError naming every breach."""
    source = read_toml(path)
    checked = check(source, _LotFile)
    types = {build.name: build for build in checked.motor_type}
    motors = {motor.serial: motor for motor in checked.motor}
    faults = [Fault(source.name, "motor_type.name", build.name, "a name used once", "Rename one of the types.")
              for index, build in enumerate(checked.motor_type)
              if build.name in {other.name for other in checked.motor_type[:index]}]
    faults += [Fault(source.name, f"motor.{index}.serial", motor.serial, "a serial number used once",
                     "Give each motor its own serial number.")
               for index, motor in enumerate(checked.motor)
               if motor.serial in {other.serial for other in checked.motor[:index]}]
    faults += [Fault(source.name, f"motor.{index}.type", motor.type, " or ".join(types),
                     "Name a motor type of this file.")
               for index, motor in enumerate(checked.motor) if motor.type not in types]
    if faults:
        raise FileContractError(faults)
    return Lot(types, motors)


def demo_lot_path() -> Path:
    """Return the path of the lot of Varnholt Works that comes with the program."""
    return Path(str(files("station.simulated").joinpath("demo_lot.toml")))
