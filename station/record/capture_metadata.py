"""The JSON that a capture file carries: times, speeds, and the scale of every channel."""

import json
from collections.abc import Mapping
from typing import Annotated, Any, Literal, NoReturn

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from station.capture import Accuracy
from station.errors import Fault

METADATA_KEY = b"capture"
FORMAT = 1

Code = Annotated[int, Field(ge=-32768, le=32767)]
Error = Annotated[float, Field(ge=0)]

_DEFAULT = Accuracy()


class Entry(BaseModel):
    """A JSON object of the contract; keys beyond these may stand beside them and are not read."""

    model_config = ConfigDict(strict=True, extra="ignore", allow_inf_nan=False, frozen=True)


class ChannelEntry(Entry):
    """value = scale x code + offset; the sample is taken `skew_s` late, its signal is `lag_s` older."""

    unit: Literal["V"]
    scale: float
    offset: float = 0.0
    skew_s: float = 0.0
    lag_s: float = 0.0
    code_min: Code = -32768
    code_max: Code = 32767

    @model_validator(mode="after")
    def _usable(self) -> "ChannelEntry":
        if self.scale == 0:
            raise ValueError("a scale other than 0")
        if self.code_min >= self.code_max:
            raise ValueError("code_min below code_max")
        return self


class AccuracyEntry(Entry):
    """Limits of error of digitizer and thermometer; what is absent is that of a plain instrument."""

    gain_common: Error = _DEFAULT.gain_common
    gain: Error = _DEFAULT.gain
    offset: Error = _DEFAULT.offset
    timebase: Error = _DEFAULT.timebase
    skew: Error = _DEFAULT.skew
    lag: Error = _DEFAULT.lag
    temperature: Error = _DEFAULT.temperature
    threshold: Error = _DEFAULT.threshold
    slot_ripple: Error = _DEFAULT.slot_ripple


class CaptureMetadata(Entry):
    """The whole of it."""

    sample_interval_s: Annotated[float, Field(gt=0)]
    start_s: float
    declared_speed_rpm: float
    drive_speed_rpm: float
    temperature_c: Annotated[float, Field(ge=-273.15)]
    channels: dict[Literal["v_ab", "v_bc", "v_ca", "h_a", "h_b", "h_c"], ChannelEntry]
    accuracy: AccuracyEntry | None = None
    label: str = ""
    serial: str = ""
    part: Annotated[list[Annotated[int, Field(ge=1, le=9)]], Field(min_length=2, max_length=2)] = [1, 1]

    @model_validator(mode="after")
    def _one_of_them(self) -> "CaptureMetadata":
        if self.part[0] > self.part[1]:
            raise ValueError("the number of a part no greater than how many there are")
        return self

    def accuracy_limits(self) -> Accuracy:
        """Return the limits of error, those of a plain instrument where the file has none."""
        return Accuracy(**self.accuracy.model_dump()) if self.accuracy else _DEFAULT


def read_metadata(stored: Mapping[bytes, bytes], file: str) -> tuple[CaptureMetadata | None, list[Fault]]:
    """Return the metadata among a file's key-value pairs, or None and every fault."""
    if METADATA_KEY not in stored:
        return None, [Fault(file, "metadata key `capture`", "nothing", "UTF-8 JSON",
                            "Write the file with the metadata of the capture contract.")]
    try:
        tables = json.loads(stored[METADATA_KEY].decode("utf-8"), parse_constant=_refuse)
    except ValueError as error:  # also bytes that are no UTF-8
        return None, [Fault(file, "metadata key `capture`", str(error), "UTF-8 JSON without NaN or infinity",
                            "Correct the metadata.")]
    if not isinstance(tables, dict):
        return None, [Fault(file, "metadata key `capture`", type(tables).__name__, "a JSON object",
                            "Correct the metadata.")]
    return _validate(tables, file)


def _validate(tables: dict[str, Any], file: str) -> tuple[CaptureMetadata | None, list[Fault]]:
    faults = []
    if tables.get("format") != FORMAT or isinstance(tables.get("format"), bool):
        faults.append(Fault(file, "capture.format", repr(tables.get("format")), f"{FORMAT}",
                            "Use the program version that wrote the file."))
    try:
        metadata = CaptureMetadata.model_validate(tables)
    except ValidationError as error:
        for breach in error.errors(include_url=False):
            key = ".".join(str(part) for part in ("capture", *breach["loc"]) if part != "[key]")
            got = "nothing" if breach["type"] == "missing" else repr(breach["input"])[:120]
            wanted = "a value" if breach["type"] == "missing" else breach["msg"].removeprefix("Value error, ")
            faults.append(Fault(file, key, got, wanted.removeprefix("Input should be "), "Correct the metadata."))
        return None, faults
    return (None if faults else metadata), faults


def _refuse(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is no number")
