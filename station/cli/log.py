"""`station log`: the head of the log, proofs from it, and witnesses who keep heads elsewhere."""

from pathlib import Path
from typing import Annotated

import typer

from station.cli.console import results
from station.clock import system_clock
from station.errors import EvidenceError, UsageError
from station.record.cosignature import WitnessKey, load_witness
from station.record.cosigned import add_cosignatures
from station.record.log_check import body_faults, count_faults, head_faults, kept_head_faults, tree_faults
from station.record.log_key import PUBLIC_FILE, load_verifier
from station.record.store import Store
from station.record.store_folder import HEAD
from station.record.witness import Witness, parse_request, request_of
from station.sequence.station_file import load_station

app = typer.Typer(no_args_is_help=True, help="The log of everything stored: heads, proofs, witnesses.",
                  rich_markup_mode=None)

SEEN = "seen"       # folder beside a witness's key: the last head of each log

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]
Keys = Annotated[Path, typer.Option("--keys", help="The witness's folder, on a computer that is not the station.")]


@app.command("head")
def head(
    station: StationFile = Path("station.toml"),
    since: Annotated[int, typer.Option(min=-1, help="Size of the head that a witness saw last, 0 if none: print the "
                                       "request for its cosignature instead.")] = -1,
) -> int:
    """Print today's head of the log, to be kept where the station cannot reach it."""
    with Store(load_station(station).store, read_only=True) as store:
        log = store.log
        text = str(request_of(log, since)) if since >= 0 else log.witnessed(len(log)) or log.head().text()
    typer.echo(text, nl=False)
    return 0


@app.command("prove")
def prove(
    seq: Annotated[int, typer.Argument(min=0, help="Place of the entry in the log; `station records show --json` has "
                                       "it.")],
    station: StationFile = Path("station.toml"),
) -> int:
    """Print the proof that an entry stands in the log, as a certificate carries it."""
    with Store(load_station(station).store, read_only=True) as store:
        proof = store.log.evidence(seq).as_json()
    typer.echo(proof.decode())
    return 0


@app.command("check")
def check(
    station: StationFile = Path("station.toml"),
    key: Annotated[Path | None, typer.Option("--key", help="The station's public key from a source of your own; "
                                             "without it, that of the station's own folder.")] = None,
) -> int:
    """Compare the whole log with what is stored, with its tree and with every head that was signed."""
    described = load_station(station)
    own = described.keys / PUBLIC_FILE if described.keys and (described.keys / PUBLIC_FILE).exists() else None
    verifiers = [load_verifier(path) for path in (key or own,) if path]
    with Store(described.store, read_only=True) as store:
        log = store.log
        faults = [fault for found in (
            count_faults(log.connection), tree_faults(log), body_faults(log.entries(), log.origin),
            head_faults(log, verifiers) if verifiers else (), kept_head_faults(log, described.store / HEAD))
            for fault in found]
        size, origin = len(log), log.origin
    for fault in faults:
        results.print(str(fault.as_error(origin)), markup=False, highlight=False, soft_wrap=True)
    if faults:
        raise EvidenceError("the log does not agree with what is stored", where=f"log of {origin}", got=len(faults),
                            expected="no fault", remedy="Stop and keep the store as it is; see the lines above.")
    heads = "its signed heads" if verifiers else "no key to verify heads with"
    results.print(f"{size} entries of {origin}: bodies, order, tree, {heads}: no fault found", highlight=False)
    return 0


@app.command("witness-key")
def witness_key(
    name: Annotated[str, typer.Argument(help="Name of the witness, such as a department and a number.")],
    keys: Keys,
) -> int:
    """Make the key of a witness, on a computer that is not the station, and print its public half."""
    typer.echo(str(WitnessKey.make(keys, name).verifier))
    return 0


@app.command("witness")
def witness(
    request: Annotated[Path, typer.Argument(help="What `station log head --since` printed.")],
    keys: Keys,
    known: Annotated[list[Path], typer.Option("--log-key", help="Public key of a station's log; may be repeated.")],
) -> int:
    """Cosign the head of a log if it continues the last one seen, and print it with the cosignature."""
    asked = parse_request(_text_of(request), str(request))
    line = Witness(WitnessKey.load(keys), keys / SEEN).cosign(
        asked, [load_verifier(path) for path in known], system_clock().utc(), str(request))
    typer.echo(asked.note + line, nl=False)
    return 0


@app.command("keep")
def keep(
    note: Annotated[Path, typer.Argument(help="What `station log witness` printed.")],
    witnesses: Annotated[list[Path], typer.Option("--witness", help="Public key of a witness; may be repeated.")],
    station: StationFile = Path("station.toml"),
) -> int:
    """Keep the cosignatures of witnesses in the store; the station may be at work meanwhile."""
    kept = add_cosignatures(load_station(station).store, _text_of(note), [load_witness(path) for path in witnesses],
                            str(note))
    results.print(f"{kept} cosignature(s) kept", highlight=False)
    return 0


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        raise UsageError("file cannot be read", where=str(path), expected="a text file", got=str(error),
                         remedy="Give the path of the file that was handed over.") from error
