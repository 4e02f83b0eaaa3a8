"""A measurement with its uncertainty budget, and what can be said beside it."""

from dataclasses import dataclass, field
from typing import Literal, NamedTuple


class BudgetRow(NamedTuple):
    """One source of uncertainty, already multiplied by its sensitivity.

    A capture has some four hundred of them, and a named tuple is made in a third of the time.

    `u` is the standard uncertainty that this source alone gives the characteristic, in the
    characteristic's unit; `dof` its degrees of freedom (inf for a limit of error taken as certain).
    `shared` names a source common to several measurements of the same digitizer (so that ratios
    and comparisons may cancel it); empty for an independent source.
    """

    source: str
    kind: Literal["A", "B"]
    distribution: Literal["normal", "rectangular"]
    u: float
    dof: float
    shared: str = ""


@dataclass(frozen=True, slots=True)
class Measurement:
    """Value, standard uncertainty and degrees of freedom of one characteristic, in its own unit.

    This noun stands at the edge, so it carries a unit: the one that `station.characteristic`
    gives for `name`. Everything before it is in SI.
    """

    name: str
    value: float
    unit: str
    u: float
    dof: float
    budget: tuple[BudgetRow, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Finding:
    """A likely cause, in words, with its evidence in numbers."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a capture cannot be trusted, and so gives no numbers for what this spoils."""

    code: str
    text: str
