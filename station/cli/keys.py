"""`station keys`: the keys that sign certificates and the log, and the certificates that auditors trust."""

import sys
from pathlib import Path
from typing import Annotated

import typer
from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256
from rich.table import Table

from station.certificate.key_folder import (
    AUTHORITY_FILE,
    has_station_key,
    keep_certificates,
    keep_station_key,
    load_station_key,
    new_private_key,
)
from station.certificate.pkcs12_file import parse_pkcs12
from station.certificate.plant_authority import PlantAuthority, has_authority
from station.cli.console import results
from station.clock import Clock, system_clock
from station.errors import UsageError
from station.record.log_key import PRIVATE_FILE as LOG_KEY
from station.record.log_key import PUBLIC_FILE as LOG_PUBLIC
from station.record.log_key import LogKey, load_verifier
from station.sequence.opening import keys_folder
from station.sequence.station_file import Station, load_station

app = typer.Typer(no_args_is_help=True, help="Make, show and import the keys that sign.", rich_markup_mode=None)

StationFile = Annotated[Path, typer.Option("--station", help="The station file.")]
Authority = Annotated[Path | None, typer.Option("--authority", help="Folder of the plant's authority; "
                                                "plant-authority beside the station file if absent.")]
AUTHORITY = "plant-authority"


@app.command("make")
def make(
    station: StationFile = Path("station.toml"),
    authority: Authority = None,
    organisation: Annotated[str, typer.Option(help="Who answers for the certificates; the place of the station if "
                                              "absent. An authority that is there keeps its own.")] = "",
) -> int:
    """Make the keys of a station: for certificates, by the plant's authority, and for the log. Replaces none."""
    here = load_station(station)
    folder, issuer = keys_folder(here), authority or here.folder / AUTHORITY
    if has_station_key(folder) and (folder / LOG_KEY).exists():
        raise UsageError("the station has its keys already", where=str(folder), expected="a key missing", got="both",
                         remedy="Keep them. To replace them put the whole folder aside first, and tell the auditor.")
    make_keys(here, folder, issuer, organisation or here.place, system_clock())
    _show(folder, here.origin)
    _say(f"Take {issuer} off the station now, into a safe: who holds it can issue certificates for any station. "
         "It is needed again only for other stations and for `station keys renew`.")
    _say(f"Give auditors {folder / AUTHORITY_FILE} and {folder / LOG_PUBLIC}, on another way than the certificates.")
    return 0


@app.command("show")
def show(station: StationFile = Path("station.toml")) -> int:
    """Show the certificates, their fingerprints and how long they hold, and the public key of the log."""
    here = load_station(station)
    _show(keys_folder(here), here.origin)
    return 0


@app.command("import")
def import_pkcs12(
    file: Annotated[Path, typer.Argument(help="PKCS #12 file with key, certificate and those above it.")],
    station: StationFile = Path("station.toml"),
    password_file: Annotated[Path | None, typer.Option(help="File whose first line is the password; asked for if "
                                                       "absent.")] = None,
) -> int:
    """Take over a key and certificate that the plant's own authority has issued. Replaces none."""
    here = load_station(station)
    folder = keys_folder(here)
    private, chain = parse_pkcs12(_read(file), _password(password_file), str(file))
    keep_station_key(folder, private, chain)
    if not (folder / LOG_KEY).exists():
        LogKey.make(folder, here.origin)
    _show(folder, here.origin)
    return 0


@app.command("renew")
def renew(station: StationFile = Path("station.toml"), authority: Authority = None) -> int:
    """Let the plant's authority issue a new certificate for the key that the station has."""
    here = load_station(station)
    folder = keys_folder(here)
    issuer = PlantAuthority.load(authority or here.folder / AUTHORITY)
    private = load_station_key(folder).private
    keep_certificates(folder, (issuer.issue(here.id, private.public_key(), system_clock()), issuer.certificate))
    _show(folder, here.origin)
    return 0


def make_keys(station: Station, folder: Path, authority: Path, organisation: str, clock: Clock) -> None:
    """Make what is missing of authority, key for certificates and key of the log; errors as their makers."""
    issuer = (PlantAuthority.load(authority) if has_authority(authority)
              else PlantAuthority.make(authority, organisation, clock))
    if not has_station_key(folder):
        private = new_private_key()
        keep_station_key(folder, private, (issuer.issue(station.id, private.public_key(), clock), issuer.certificate))
    if not (folder / LOG_KEY).exists():
        LogKey.make(folder, station.origin)


def _show(folder: Path, origin: str) -> None:
    key = load_station_key(folder)
    table = Table("certificate of", "issued by", "holds from", "to", "SHA-256")
    for certificate in key.chain:
        table.add_row(_name(certificate.subject), _name(certificate.issuer),
                      f"{certificate.not_valid_before_utc:%Y-%m-%d}", f"{certificate.not_valid_after_utc:%Y-%m-%d}",
                      certificate.fingerprint(SHA256()).hex())
    results.print(table)
    last = key.signing_time[1]
    left = (last - system_clock().utc()).days
    _say(f"The station's key signs until {last:%Y-%m-%d}, {left} more days; what it has signed stays valid as above."
         if left >= 0 else f"THE TIME OF THE STATION'S KEY IS OVER since {last:%Y-%m-%d}: `station keys renew`.")
    _say(f"Public key of the log {origin}, for the auditor: {load_verifier(folder / LOG_PUBLIC)}")


def _name(name: x509.Name) -> str:
    return ", ".join(str(part.value) for part in reversed(list(name)))


def _password(file: Path | None) -> bytes | None:
    if file is not None:
        return _read(file).split(b"\n")[0].rstrip(b"\r") or None
    if not sys.stdin.isatty():
        raise UsageError("nobody is there to ask for the password", where="station keys import",
                         expected="--password-file", got="none",
                         remedy="Name a file that holds it, an empty one if there is none.")
    return str(typer.prompt("Password of the file", hide_input=True, default="", show_default=False)).encode() or None


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise UsageError("file cannot be read", where=str(path), expected="a readable file",
                         got=str(error.strerror or error), remedy="Give the path of an existing file.") from error


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)
