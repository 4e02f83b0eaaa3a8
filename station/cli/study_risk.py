"""`station study risk`: how many bad motors the limits of a type let pass, and how many good ones they cost."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from station.cli.console import results
from station.judgement.limit_file import LimitFile, parse_limits
from station.sequence.station_file import load_station
from station.toml_file import read_toml
from station.units import printed

if TYPE_CHECKING:
    from station.study.risk import Interval, Risks
    from station.study.risk_of_type import TypeRisk, ValueRisk

SHOWN = 12      # values, those worst for the consumer
ASSUMED = (
    "Consumer: accepted although bad; producer: rejected although good; both as shares of all motors at their first "
    "attempt. Model: true values normally distributed as the bulk of the values measured. Stored: motors as measured, "
    "gross failures among them. Errors are taken as independent between values, and measured spreads as true ones, "
    "which makes the risks rather too large than too small.")


def risk(
    motor_type: Annotated[str, typer.Argument(help="Motor type.")],
    station: Annotated[Path, typer.Option("--station", help="The station file.")] = Path("station.toml"),
    limits: Annotated[Path | None, typer.Option(help="Limit file; that of the newest test if left out.")] = None,
    revision: Annotated[str, typer.Option("--sequence-revision", help="Of the sequence, if there are several.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Everything, as JSON.")] = False,
    everything: Annotated[bool, typer.Option("--all", help="Show every value.")] = False,
) -> int:
    """Tell the consumer's and the producer's risk of each limited value, and of the whole motor."""
    from station.study import risk_of_type  # noqa: PLC0415 - slow to import, and for studies only
    from station.study.judged_by import newest_limits  # noqa: PLC0415
    from station.study.wide_table import read_table  # noqa: PLC0415

    store = load_station(station).store
    table = read_table(store, motor_type, revision)
    judged_by = newest_limits(store, table) if limits is None else parse_limits(read_toml(limits))
    found = risk_of_type.risks_of_type(table, judged_by)
    if as_json:
        said = {"limits_sha256": judged_by.sha256, **risk_of_type.as_json(found)}
        results.print(json.dumps(said, allow_nan=False), markup=False, highlight=False, soft_wrap=True)
    else:
        _show(found, judged_by, everything=everything)
    return 0


def _show(found: "TypeRisk", limits: LimitFile, *, everything: bool) -> None:
    shown = found.values if everything else found.values[:SHOWN]
    table = Table("value", "unit", "u", "Cm", "tolerance", "acceptance", "consumer, model", "stored", "producer, model",
                  "stored")
    for value in shown:
        table.add_row(*_cells(value))
    results.print(table)
    _say(f"{len(found.values)} limited values, the {len(shown)} worst shown; limits of {limits.motor_type.name} "
         f"revision {limits.revision.number}, {limits.decision.rule} rule")
    _say(f"whole motor, values independent of each other: {_motor(found.independent)}")
    _say(f"whole motor, values as they belong together in {found.motors} motors ({found.left_out} left out, as values "
         f"of theirs are missing): {_motor(found.together)}")
    for key in found.unseen:
        _say(f"not reckoned, as too few motors have a value: {key}")
    if found.warning:
        _say(found.warning)
    _say(ASSUMED)


def _cells(value: "ValueRisk") -> list[str]:
    return [value.key, printed(value.unit), f"{value.u:.3g}", "" if value.capability is None else
            f"{value.capability:.3g}", _range(value.tolerance), _range(value.acceptance),
            *(_share(share) for share in (value.modelled.consumer, value.stored.consumer, value.modelled.producer,
                                          value.stored.producer))]


def _motor(risks: "Risks") -> str:
    return (f"consumer {_share(risks.consumer)} ({_share(risks.among_accepted)} of those accepted), "
            f"producer {_share(risks.producer)}, accepted {_share(risks.accepted)}")


def _range(interval: "Interval | None") -> str:
    if interval is None:
        return "nothing"
    lower, upper = ("" if end is None else f"{end:.5g}" for end in (interval.lower, interval.upper))
    return f"{lower} … {upper}"


def _share(share: float) -> str:
    return "0" if share < 5e-11 else f"{100 * share:.2g} %" if share < 0.1 else f"{100 * share:.1f} %"


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
