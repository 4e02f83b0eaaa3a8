"""The station file: who and where this station is, and which files it works with."""

import re
from dataclasses import dataclass, field
from datetime import time
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import Field, ValidationInfo, field_validator

from station.certificate.printer_address import parse_printer_uri
from station.errors import Fault, FileContractError
from station.record.retention import Rule
from station.sequence.plant_address import parse_plant_url
from station.toml_file import Table, check, read_toml

Text = Annotated[str, Field(min_length=1)]
Days = Annotated[int, Field(ge=1, le=36_525)]


class Identity(Table):
    """The station's own name and place."""

    id: Text
    place: Text


class Maker(Table):
    """Who makes the motors and answers for the certificate."""

    name: Text
    address: Text
    line: str = ""


class Order(Table):
    """What the motors are made for; every certificate then says so."""

    customer: Text
    number: Text
    part: Text
    part_revision: str = ""
    drawing: str = ""
    drawing_revision: str = ""
    lot: str = ""
    sampling: Text = "every motor"


class Files(Table):
    """Paths, relative to the station file; `limits` is a folder with one limit file a motor type."""

    bench: Text
    sequence: Text
    limits: Text
    store: Text


class Simulated(Table):
    """Present while the station works on the embedded simulated bench; remove it for real instruments."""

    lot: Text
    pace: Annotated[float, Field(ge=1, le=100)] = 1.0
    seed: Annotated[int, Field(ge=0)] = 1
    side_port: Annotated[int, Field(ge=0, le=65535)] = 0


class MotorMark(Table):
    """How a serial number names its motor type: by its beginning; and, if it does, the lot of the motor.

    `lot_pattern` is a regular expression that finds the lot in the serial number, as its group `lot`.
    """

    serial_begins: Text
    limit_file: Text
    lot_pattern: str = ""

    @field_validator("lot_pattern")
    @classmethod
    def _finds_a_lot(cls, pattern: str) -> str:
        try:
            groups = re.compile(pattern).groupindex
        except re.error as error:
            raise ValueError(f"a regular expression ({error})") from error
        if pattern and "lot" not in groups:
            raise ValueError("a regular expression with a group named lot, such as ^CP40-(?P<lot>[A-Z])")
        return pattern


class Reference(Table):
    """When the reference motors must be tested before any other; see `sequence.reference_due`."""

    required: bool
    folder: Text = "references"
    shift_starts: list[time] = Field(default_factory=list)      # local times of `time_zone`
    time_zone: Text = "UTC"
    longest_h: Annotated[float, Field(gt=0, le=168)] = 12.0
    after_changeover: bool = True

    @field_validator("time_zone")
    @classmethod
    def _known(cls, name: str) -> str:
        try:
            ZoneInfo(name)
        except (KeyError, OSError, ValueError) as error:   # absent is a KeyError
            raise ValueError("a time zone such as Europe/Vienna") from error
        return name


class Drift(Table):
    """When the charts of the reference motors warn, and whether they stop the line; see `study.drift`."""

    stop: bool = False
    smoothing: Annotated[float, Field(gt=0, le=1)] = 0.2
    ewma_limit: Annotated[float, Field(gt=0, le=10)] = 2.962
    warn_s: Annotated[float, Field(gt=0, le=10)] = 2.0
    stop_s: Annotated[float, Field(gt=0, le=10, validate_default=True)] = 3.0
    stop_share_of_U: Annotated[float, Field(gt=0, le=10)] = 0.25  # noqa: N815 - the unit as people write it

    @field_validator("stop_s")
    @classmethod
    def _beyond_the_warning(cls, stop: float, info: ValidationInfo) -> float:
        if stop <= info.data.get("warn_s", 0.0):
            raise ValueError("more than warn_s, so that a warning comes first")
        return stop


class Signing(Table):
    """Where the keys lie that sign certificates and the log, and the name of the log."""

    keys: Text = "keys"
    origin: Annotated[str, Field(pattern=r"^[!-*,-~]*$")] = ""      # no blank, no plus: signed notes part at them


class Printer(Table):
    """The printer of the certificates, spoken to over IPP; what is left out is left to the printer."""

    uri: str
    media: str = ""                     # such as iso_a4_210x297mm
    sides: Literal["", "one-sided", "two-sided-long-edge", "two-sided-short-edge"] = ""
    copies: Annotated[int, Field(ge=1, le=10)] = 1
    trust: str = ""                     # a PEM file: the certificate that an ipps printer shows, or who signed it

    @field_validator("uri")
    @classmethod
    def _address(cls, uri: str) -> str:
        return parse_printer_uri(uri).uri


class PlantServer(Table):
    """The plant that everything stored is handed over to; see `plant.hand_over`."""

    url: str
    witness: Text                       # file with the public key by which the plant acknowledges
    trust: str = ""                     # a PEM file: the certificate that the plant shows, or who signed it

    @field_validator("url")
    @classmethod
    def _address(cls, url: str) -> str:
        return parse_plant_url(url).url


class Retention(Table):
    """After how many days captures may be removed, by the verdict of their run; kept for ever where left out."""

    pass_days: Days | None = None
    fail_days: Days | None = None
    no_result_days: Days | None = None

    def rules(self) -> tuple[Rule, ...]:
        """Return the rules, the kindest verdict first."""
        rows = (("PASS", self.pass_days), ("NO RESULT", self.no_result_days), ("FAIL", self.fail_days))
        return tuple(Rule(verdict, days) for verdict, days in rows if days is not None)


class Panel(Table):
    """The operator's screen: how large its pixels are, how bright the hall is, what it says and how loud.

    `pitch_mm` is the side of a CSS pixel, that is the width of the visible screen in mm over the browser's width in
    pixels; letters and buttons are sized in millimetres by it.
    """

    pitch_mm: Annotated[float, Field(ge=0.05, le=1.0)] = 0.248      # 21.5 inches at 1920 x 1080
    hall: Literal["bright", "dark"] = "bright"
    language: Literal["", "de", "en", "pl"] = ""                     # of whoever has chosen none; "" asks the browser
    volume: Annotated[float, Field(ge=0, le=1)] = 0.5
    fails_in_a_row: Annotated[int, Field(ge=0, le=100)] = 5          # after which an engineer must look; 0 never
    help: str = ""                                                  # whom to call, with a telephone number


class StationContract(Table):
    """A whole station file."""

    format: int
    station: Identity
    files: Files
    motor: Annotated[list[MotorMark], Field(min_length=1)]
    maker: Maker | None = None
    order: Order | None = None
    reference: Reference | None = None
    drift: Drift | None = None
    signing: Signing | None = None
    retention: Retention | None = None
    printer: Printer | None = None
    plant: PlantServer | None = None
    panel: Panel = Panel()
    simulated: Simulated | None = None


@dataclass(frozen=True, slots=True)
class Station:
    """A station as its file describes it, all paths resolved."""

    id: str
    place: str
    folder: Path
    bench: Path
    sequence: Path
    limits: Path
    store: Path
    marks: tuple[MotorMark, ...]
    simulated: Simulated | None
    file: Path
    sha256: str = ""            # of the station file
    reference: Reference | None = None
    signing: Signing | None = None
    maker: Maker | None = None
    order: Order | None = None
    retention: Retention | None = None
    printer: Printer | None = None
    panel: Panel = field(default_factory=Panel)
    drift: Drift | None = None
    plant: PlantServer | None = None

    @property
    def keys(self) -> Path | None:
        """The folder of the signing keys; None where nothing is signed."""
        return self.folder / self.signing.keys if self.signing else None

    @property
    def origin(self) -> str:
        """The name of the station's log: as its file says, else the station's id in lower case, blanks as hyphens."""
        given = self.signing.origin if self.signing else ""
        return given or "-".join(self.id.lower().replace("+", " ").split())

    @property
    def references(self) -> Path:
        """The folder of the reference motors' files."""
        return self.folder / (self.reference.folder if self.reference else "references")

    def limit_file_for(self, serial: str) -> Path:
        """Return the limit file of the motor type that `serial` names; the longest beginning wins.

        Raises
        ------
        FileContractError
            No mark fits: the type is never guessed.
        """
        fitting = [mark for mark in self.marks if serial.startswith(mark.serial_begins)]
        if not fitting:
            known = ", ".join(mark.serial_begins for mark in self.marks)
            raise FileContractError([Fault(str(self.file), "motor.serial_begins", f"serial {serial!r}",
                                           f"a serial beginning with one of {known}",
                                           "Scan again, or add the motor type to the station file.")])
        return self.limits / max(fitting, key=lambda mark: len(mark.serial_begins)).limit_file

    def lot_pattern_of(self, motor_type: str) -> str:
        """Return what finds the lot in the serial numbers of a motor type, "" where nothing does.

        The type is told by the name of its limit file; of several marks the first with a pattern counts.
        """
        patterns = [mark.lot_pattern for mark in self.marks if Path(mark.limit_file).stem == motor_type]
        return next(filter(None, patterns), "")


def load_station(path: Path) -> Station:
    """Read a station file, or raise FileContractError naming every fault."""
    source = read_toml(path)
    contract = check(source, StationContract)
    faults = [*_marked_twice(contract.motor, source.name), *_unsigned(contract, source.name)]
    if faults:
        raise FileContractError(faults)
    folder = path.resolve().parent
    files = contract.files
    return Station(contract.station.id, contract.station.place, folder, folder / files.bench,
                   folder / files.sequence, folder / files.limits, folder / files.store,
                   tuple(contract.motor), contract.simulated, path, source.sha256,
                   contract.reference, contract.signing, contract.maker, contract.order,
                   contract.retention, contract.printer, contract.panel, contract.drift, contract.plant)


def _unsigned(contract: StationContract, file: str) -> list[Fault]:
    if contract.plant is None or contract.signing is not None:
        return []
    return [Fault(file, "plant", "a plant", "a table [signing] as well, as a plant takes signed logs only",
                  "Add [signing], then `station keys make`.")]


def _marked_twice(marks: list[MotorMark], file: str) -> list[Fault]:
    begins = [mark.serial_begins for mark in marks]
    return [Fault(file, f"motor.{number}.serial_begins", repr(begin), "a beginning of its own for each motor type",
                  "Remove one of the two, or make one longer: the longest beginning that fits wins.")
            for number, begin in enumerate(begins) if begin in begins[:number]]
