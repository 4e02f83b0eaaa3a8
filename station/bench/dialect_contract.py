"""The tables of a dialect file, as strict types; what they mean together is checked in dialect_faults."""

from typing import Annotated, Literal

from pydantic import Field

from station.bench.answer import Form
from station.toml_file import Table

Line = Annotated[str, Field(min_length=1, max_length=400)]
LineOrNone = Annotated[str, Field(max_length=400)]
Times = Annotated[float, Field(gt=0)]
PREAMBLE_FIELDS = ("points", "interval", "scale", "offset", "reference")


class SessionTable(Table):
    """What the session itself says and hears."""

    line_end: Literal["\n", "\r\n", "\r"] = "\n"
    headers: bool = False
    acknowledge: LineOrNone = ""
    pause: Annotated[float, Field(ge=0, le=5, alias="pause_s")] = 0.0
    identify: Line = "*IDN?"
    identity: str = ""
    self_test: LineOrNone = "*TST?"
    errors: LineOrNone = "SYST:ERR?"
    event_status: LineOrNone | None = None  # "*ESR?" where the identity is asked by *IDN?, else nothing
    init: list[Line] = Field(default_factory=list)
    clients: Annotated[int, Field(ge=1, le=64)] = 1  # connections served at once; from 2 on a stop has its own


class BlockTable(Table):
    """How samples are carried."""

    form: Literal["int16 little", "int16 big", "int8", "uint8"] = "int16 little"
    tail: Literal["", "\n", "\r\n"] = "\n"
    batch: Annotated[int, Field(ge=0)] = 0           # most samples in one block; 0: all in one
    first_sample: Literal[0, 1] = 0
    preamble: list[Literal["", "points", "interval", "scale", "offset", "reference"]] = Field(default_factory=list)


class CompletionTable(Table):
    """How the end of a capture is seen."""

    by: Literal["status", "*OPC?", "time"] = "status"


class SentinelsTable(Table):
    """Answers that stand for no value."""

    over: list[str | float | int] = Field(default_factory=list)
    under: list[str | float | int] = Field(default_factory=list)
    invalid: list[str | float | int] = Field(default_factory=list)


class FieldTable(Table):
    """How a field is written."""

    map: dict[str, str] = Field(default_factory=dict)
    times: Times = 1.0
    decimals: Annotated[int, Field(ge=0, le=12)] | None = None


class AnswerTable(Table):
    """How an answer is read."""

    form: Form = "number"
    part: Annotated[int, Field(ge=1, le=64)] = 1
    suffix: str = ""
    map: dict[str, float] = Field(default_factory=dict)
    times: Times = 1.0
    inverse: bool = False


class LimitsTable(Table):
    """What the instrument can do: [least, greatest] as the instrument's manual says."""

    points: Annotated[list[int], Field(min_length=2, max_length=2)] | None = None
    interval_s: Annotated[list[float], Field(min_length=2, max_length=2)] | None = None
    range: Annotated[list[float], Field(min_length=2, max_length=2)] | None = Field(default=None, alias="range_V")


class DialectContract(Table):
    """The tables of a dialect file."""

    format: int
    role: str
    templates: dict[str, str | list[str]]
    numbers: dict[str, int] = Field(default_factory=dict)
    units: dict[str, str] = Field(default_factory=dict)
    session: SessionTable = SessionTable()
    block: BlockTable = BlockTable()
    completion: CompletionTable = CompletionTable()
    sentinels: SentinelsTable = SentinelsTable()
    fields: dict[str, FieldTable] = Field(default_factory=dict)
    answers: dict[str, AnswerTable] = Field(default_factory=dict)
    limits: LimitsTable = LimitsTable()
