"""`station study what-if`: what a draft limit file would have said of every stored test."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from station.cli.console import results
from station.clock import Date, stamp, system_clock
from station.errors import UsageError
from station.judgement.limit_file import parse_limits
from station.sequence.station_file import load_station
from station.toml_file import read_toml
from station.units import printed

if TYPE_CHECKING:       # slow to import, and for studies only
    from station.study.capability import Estimate
    from station.study.escapes import Curves
    from station.study.limit_study import LimitStudy
    from station.study.what_if import Outcome, Yields
    from station.study.what_if_report import WhatIf

SHOWN = 20      # motors, and bounds of a curve; --json has them all
VERDICTS = ("PASS", "FAIL", "NO RESULT")
Day = Annotated[str, typer.Option(help="Date, such as 2026-11-25, of the start of tests in UTC.")]


def what_if(
    draft: Annotated[Path, typer.Argument(help="The draft limit file.")],
    station: Annotated[Path, typer.Option("--station", help="The station file.")] = Path("station.toml"),
    against: Annotated[list[Path] | None, typer.Option(help="Folder of a store; that of the station if left out.")]
    = None,
    revision: Annotated[str, typer.Option("--sequence-revision", help="Of the sequence, if there are several.")] = "",
    since: Day = "",
    until: Annotated[str, typer.Option(help="Date before which tests began.")] = "",
    hold_out: Annotated[str, typer.Option(help="Date from which tests only score what earlier ones chose.")] = "",
    known_bad: Annotated[Path | None, typer.Option(help="File of motors that are bad for certain.")] = None,
    limit: Annotated[str, typer.Option(help="Entry of the draft to be moved: what escapes, what is rejected falsely.")]
    = "",
    side: Annotated[str, typer.Option(help="lower or upper, where the entry has both.")] = "",
    bounds: Annotated[tuple[float, float] | None, typer.Option("--range", help="First and last bound to be tried.")]
    = None,
    costs: Annotated[tuple[float, float] | None, typer.Option(help="Of a false reject, and of an escape.")] = None,
    share_bad: Annotated[float, typer.Option(min=0, max=1, help="Share of all motors that are bad.")] = 0.01,
    as_json: Annotated[bool, typer.Option("--json", help="Print the whole report, as a release needs it.")] = False,
) -> int:
    """Judge every stored test again by a draft: what would change, why, and which shipped motors it would reject."""
    from station.study.draft_study import Question, study_draft  # noqa: PLC0415
    from station.study.escapes import Costs  # noqa: PLC0415
    from station.study.what_if import Span  # noqa: PLC0415
    from station.study.what_if_report import as_json as written  # noqa: PLC0415

    limits = parse_limits(read_toml(draft))
    folders = against or [load_station(station).store]
    asked = Question(revision, Span(_day(since), _day(until)), _day(hold_out), known_bad, limit, side, bounds,
                     Costs(*costs, share_bad) if costs else None)
    found = study_draft(limits, folders, asked, stamp(system_clock().utc()))
    if as_json:
        results.print(written(found), markup=False, highlight=False, soft_wrap=True)
    else:
        _show(found)
    return 0


def _show(found: "WhatIf") -> None:
    draft = found.draft
    _say(f"draft {draft.name}, {draft.motor_type.name} revision {draft.revision.number}, SHA-256 {draft.sha256}")
    for some in found.tests:
        kept = ", ".join(f"{limits.revision.number} ({sha256[:8]})" for sha256, limits in some.in_force.items())
        _say(f"against {some.file.rows} runs in {some.folder}, log of {some.file.about.log_size} entries, judged then "
             f"by revision {kept or 'unknown'}")
    for each in found.outcomes:
        _show_outcome(each)
    _show_causes(found)
    _show_shipped(found)
    if found.limit is not None:
        _show_limit(found.limit)
    for warning in found.warnings:
        _say(f"! {warning}")


def _show_outcome(each: "Outcome") -> None:
    _say(f"\n{each.tests} tests: {each.span.words()}")
    table = Table("then", *(f"draft {verdict}" for verdict in VERDICTS))
    for old in VERDICTS:
        table.add_row(old, *(str(each.confusion[old, new]) for new in VERDICTS))
    results.print(table)
    _say(f"first-pass yield then {_yield(each.old)}; by the draft {_yield(each.new)}")


def _show_causes(found: "WhatIf") -> None:
    from station.study.what_if import changes_alone  # noqa: PLC0415

    counted = changes_alone(found.flips)
    if not counted:
        _say("no verdict changes")
        return
    table = Table("entry that changes verdicts", "then", "draft", "alone", "with others")
    for (key, old, new), (alone, others) in counted.items():
        table.add_row(key, old, new, str(alone), str(others))
    results.print(table)


def _show_shipped(found: "WhatIf") -> None:
    recalled = found.recalled
    _say(f"motors that passed last and may be shipped, and that the draft would not pass: {len(recalled)}")
    table = Table("serial", "run", "tested", "draft", "because of")
    for flip in recalled[:SHOWN]:
        table.add_row(flip.serial, str(flip.run), flip.started, flip.new, ", ".join(flip.causes))
    if recalled:
        results.print(table)
    if len(recalled) > SHOWN:
        _say(f"and {len(recalled) - SHOWN} more: see --json")


def _show_limit(study: "LimitStudy") -> None:
    unit = printed(study.unit)
    _say(f"\n{study.side} limit of {study.key}, moved by itself; {study.alone.good} good motors at their first test")
    faults = list(study.alone.escapes)
    escaping = [f"{fault or 'all known-bad'} escape" for fault in faults]
    table = Table(f"bound / {unit or '1'}", "good rejected", *escaping, "pass by all limits")
    for k in _places(study):
        bound = study.alone.bounds[k]
        mark = " draft" if bound == study.draft else " best" if study.best and bound == study.best.bound else ""
        table.add_row(f"{bound:.5g}{mark}", _share(study.alone.false_rejects, k),
                      *(_share(study.alone.escapes[fault], k) for fault in faults),
                      f"{study.passed[k]} of {study.first_tests}")
    results.print(table)
    if study.best is not None:
        _say(f"least cost at {study.best.bound:.5g} {unit}, {study.best.cost:.3g} per motor; from "
             f"{study.best.least:.5g} to {study.best.largest:.5g} {unit} if the share of bad motors is from a third to "
             "three times what was said")
    if study.score is not None:
        _say("on the tests held out: " + _score(study.score))


def _score(score: "Curves") -> str:
    said = [f"good rejected {_share(score.false_rejects, 0)}"] if score.false_rejects else []
    said += [f"known-bad escape {_share(score.escapes[''], 0)}"] if "" in score.escapes else []
    return ", ".join(said) or "no motor to score on"


def _places(study: "LimitStudy") -> list[int]:
    """Return which bounds are shown: evenly, those of draft and best among them."""
    bounds = study.alone.bounds
    step = max(1, len(bounds) // SHOWN)
    named = {study.draft} | ({study.best.bound} if study.best else set())
    return [k for k, bound in enumerate(bounds) if k % step == 0 or bound in named]


def _share(curve: "tuple[Estimate, ...]", place: int) -> str:
    if not curve:
        return "-"
    one = curve[place]
    return f"{_percent(one.value)} % ({_percent(one.low)} … {_percent(one.high)})"


def _percent(share: float) -> str:
    return f"{100 * share:.2g}" if share < 0.0995 else f"{100 * share:.1f}".removesuffix(".0")


def _yield(one: "Yields") -> str:
    if one.share is None:
        return "of no motor"
    return (f"{100 * one.share.value:.2f} % ({one.passed} of {one.motors}; 95 %: {100 * one.share.low:.2f} to "
            f"{100 * one.share.high:.2f} %)")


def _day(text: str) -> str:
    """Return a date as given, or raise UsageError; "" for none."""
    try:
        return Date.fromisoformat(text).isoformat() if text else ""
    except ValueError:
        raise UsageError("this is no date", where="study what-if", expected="a date such as 2026-11-25", got=text,
                         remedy="Give year, month and day.") from None


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
