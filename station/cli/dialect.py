"""`station dialect`: prove a dialect file against an instrument, before any bench file names it."""

import json
import re
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer

from station.bench.bench_file import NEEDS
from station.bench.dialect import SHIPPED, Dialect, parse_dialect
from station.bench.rehearsal import Rehearsal, Turn
from station.bench.resource import SCPI_RESOURCE, tcp_port
from station.bench.roles import ROLES, Role
from station.bench.scpi_session import ScpiSession
from station.bench.transcript import Transcript
from station.cli.console import results
from station.clock import system_clock
from station.errors import Fault, FileContractError, UsageError
from station.exit_code import ExitCode
from station.simulated.bench import TONGUES, Digitizers, SimulatedBench
from station.simulated.lot import demo_lot_path, load_lot
from station.simulated.rig import Rig
from station.toml_file import TomlSource, read_toml

app = typer.Typer(no_args_is_help=True, help="Prove dialect files.", rich_markup_mode=None)

CAUTION = """\
CAUTION. This plays commands to a real instrument. A shaft may turn, and hundreds of volts may come on.
Motor away or fixture closed, guard closed, nobody at the terminals. The guard and the emergency stop must be
hard-wired; local codes come first, and work on live parts needs licensed practice."""
ARROWS = {"to": ">", "from": "<", "note": "#"}
PACE = 20.0
SEED = 1
HAZARDOUS = ("drive", "insulation")


@app.command("check")
def check(
    file: Annotated[Path, typer.Argument(help="The dialect file, or the name of a shipped dialect.")],
    resource: Annotated[str, typer.Option(help="A real instrument, such as TCPIP::192.0.2.7::5025::SOCKET; "
                                               "a simulated one if left out.")] = "",
    role: Annotated[str, typer.Option(help="The role that the dialect must be for.")] = "",
    deadline: Annotated[float, typer.Option(min=0.05, max=60.0, help="Longest wait for one answer, s.")] = 2.0,
    baud: Annotated[int, typer.Option(min=50, help="Speed of a serial line.")] = 9600,
    channel: Annotated[int, typer.Option(min=1, max=64, help="The digitizer's channel to capture from.")] = 1,
    energize: Annotated[bool, typer.Option("--energize", help="Switch a real drive or insulation voltage on too: "
                                           "guard closed, nobody at shaft and terminals.")] = False,
) -> int:
    """Play every template of a dialect to an instrument and print what was sent, answered and understood."""
    source, dialect, the_role = _load(file, role)
    _say(f"dialect {dialect.name}, role {the_role}, SHA-256 {source.sha256}")
    if resource:
        _require_resource(resource)
        if the_role in HAZARDOUS:
            _say(CAUTION)
        session = _session(the_role, dialect, resource, deadline, baud)
        return _play(session, the_role, dialect, channel, hazards=energize)
    tongue = _fitting_tongue(dialect, the_role)
    if tongue is None:
        _say("The file is sound. No simulated instrument has an identity like its own; give --resource to play it.\n"
             "It will say:")
        _show_lines(dialect)
        return int(ExitCode.NO_RESULT)
    with _simulated(the_role, tongue, switched=dialect.has("select")) as simulated_resource:
        _say(f"against the simulated {the_role} at {simulated_resource}")
        session = _session(the_role, dialect, simulated_resource, deadline, baud)
        return _play(session, the_role, dialect, channel, hazards=True)


def _load(file: Path, role: str) -> tuple[TomlSource, Dialect, Role]:
    shipped = SHIPPED / f"{file.name}.toml"
    source = read_toml(shipped if file.suffix != ".toml" and not file.exists() and shipped.exists() else file)
    named = role or str(source.tables.get("role", ""))
    if named not in ROLES:
        raise FileContractError([Fault(source.name, "role", repr(named), "one of " + ", ".join(ROLES),
                                       "Name the role that the instrument fills.")])
    if source.tables.get("kind") == "modbus":
        raise UsageError("this is a register map", where=source.name, expected="a dialect of text commands",
                         got="a map of Modbus registers", remedy="Name it in a bench file; `station bench check`.")
    return source, parse_dialect(source, named, NEEDS[named]), named


def _fitting_tongue(dialect: Dialect, role: Role) -> str | None:
    """Return the tongue ("" for SCPI) of the simulated instrument whose identity the dialect takes."""
    pattern = dialect.speech.identity
    if pattern is None:
        return ""
    rig = Rig(load_lot(demo_lot_path()), SEED)
    tongues = ("",) if role == "drive" else ("", *TONGUES)
    return next((tongue for tongue in tongues
                 if pattern.fullmatch(SimulatedBench(rig, {}, tongues={role: tongue}).identity(role))), None)


@contextmanager
def _simulated(role: Role, tongue: str, *, switched: bool) -> Iterator[str]:
    lot = load_lot(demo_lot_path())
    rig = Rig(lot, SEED, PACE)
    digitizers: Digitizers = "four channels" if switched else "six channels"
    with SimulatedBench(rig, {}, seed=SEED, tongues={role: tongue}, digitizers=digitizers) as served:
        rig.place(next(iter(lot.motors)))
        rig.close_guard()
        rig.arm(True)
        rig.press_start()
        yield f"TCPIP::127.0.0.1::{served.ports[role]}::SOCKET"


def _require_resource(resource: str) -> None:
    port = tcp_port(resource) if re.fullmatch(SCPI_RESOURCE, resource) else 0
    if port is not None and not 0 < port < 1 << 16:
        raise UsageError("this is no resource", where="--resource", got=repr(resource),
                         expected="TCPIP::host::port::SOCKET or another kind that a bench file may name",
                         remedy="Write the address as the comments of the bench file show.")


def _session(role: Role, dialect: Dialect, resource: str, deadline: float, baud: int,
             ) -> tuple[ScpiSession, Transcript]:
    clock = system_clock()
    transcript = Transcript(clock)
    return ScpiSession(role, resource, None, clock, deadline, dialect.speech, transcript, baud), transcript


def _play(opened: tuple[ScpiSession, Transcript], role: Role, dialect: Dialect, channel: int, *,
          hazards: bool) -> int:
    session, transcript = opened
    faults = left_out = 0
    rehearsal = Rehearsal(role, session, dialect, system_clock(), hazards_allowed=hazards, channel=channel)
    # The turns are closed before the session on every way out: that switches off what was switched on.
    with closing(session), closing(rehearsal.play()) as turns:
        for turn in turns:
            _show(turn, transcript, dialect.speech.errors)
            faults += turn.fault is not None
            left_out += bool(turn.left_out)
    _say(f"{faults} fault(s)" + (f"; {left_out} template(s) not played, see --energize" if left_out else ""))
    return int(ExitCode.BENCH_NOT_FIT if faults else ExitCode.PASS)


def _show(turn: Turn, transcript: Transcript, errors: str) -> None:
    _say(turn.name)
    entries = [json.loads(line) for line in transcript.as_json_lines().decode("ascii").splitlines()]
    transcript.restart()
    for entry in _without_empty_queues(entries, errors):
        said = entry.get("text") or f"block of {entry.get('bytes', 0)} bytes"
        _say(f"  {ARROWS.get(entry.get('direction', ''), '#')} {said}")
    if turn.fault is not None:
        _say(f"  ! {turn.fault}")
    else:
        _say(f"  = {turn.left_out or turn.understood}")


def _without_empty_queues(entries: list[dict[str, Any]], errors: str) -> Iterator[dict[str, Any]]:
    """Yield the entries but for each question for the error queue that was answered with none."""
    answers = iter(entries)
    for entry in answers:
        if errors and entry.get("direction") == "to" and entry.get("text") == errors:
            answer = next(answers, {})
            if re.search(r"(^|\s)[+-]?0+\s*,", str(answer.get("text", ""))):
                continue
            yield entry
            if answer:
                yield answer
        else:
            yield entry


def _show_lines(dialect: Dialect) -> None:
    for name, lines in dialect.templates.items():
        for line in lines:
            _say(f"  {name}: {line}")


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
