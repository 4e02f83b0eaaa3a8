"""The study of a draft at the station: where it is kept, and how it is made, beside everything else."""

from pathlib import Path

from station.clock import stamp
from station.errors import FileContractError, UsageError
from station.judgement.limit_file import LimitFile
from station.record.capture_file import make_folder, write_durably
from station.record.record import sha256_of
from station.record.store import Store
from station.screens.apart import apart
from station.screens.drafts import DRAFTS
from station.screens.site import Site
from station.sequence.station_file import Station
from station.sequence_file import parse_sequence
from station.study.release_study import consequences, study_for_release
from station.study.study_report import study_of
from station.toml_file import read_toml

FOLDER = "studies"      # among the drafts


def study_path(station: Station, draft: LimitFile) -> Path:
    """Return where the study of a draft lies, once it was made; another text has another."""
    return station.folder / DRAFTS / FOLDER / f"{draft.sha256}.json"


def kept_study(station: Station, draft: LimitFile) -> bytes | None:
    """Return the study of a draft as it was made last, None before the first."""
    path = study_path(station, draft)
    return path.read_bytes() if path.is_file() else None


def make_study(site: Site, draft: LimitFile) -> bytes:
    """Make the study of a draft from all tests, and keep it, durably; errors as `study_for_release`."""
    station, path = site.station, study_path(site.station, draft)
    report = apart(study_for_release, station.store, draft.text.encode(), draft.name, sequence_in_force(station),
                   stamp(site.clock.utc())).encode()
    make_folder(path.parent)
    write_durably(path, report)
    return report


def require_study(site: Site, store: Store, draft: LimitFile, seen: str) -> None:
    """See that the study of a draft is of every test: tests that came since a person saw it are judged, too.

    To be asked while nothing is tested. `seen` is the SHA-256 of the study that the person saw.

    Raises
    ------
    UsageError
        It is another study; or the newest tests change what it says.
    """
    report = kept_study(site.station, draft)
    if report is None or sha256_of(report) != seen:
        raise UsageError("the study was made anew meanwhile", where=draft.name, expected=f"SHA-256 {seen}",
                         got="none" if report is None else sha256_of(report),
                         remedy="Open the page again and look at it, then decide again.")
    try:
        study_of(report, draft.name, draft.sha256, store.log)
    except UsageError:      # tests came since
        again = consequences(make_study(site, draft)) - consequences(report)
        if again:
            raise UsageError("the newest tests change what the study says", where=draft.name,
                             expected="no more motors that change their verdict",
                             got=", ".join(f"{serial} run {run} {verdict}" for serial, run, verdict in sorted(again)),
                             remedy="Open the page again and look at them, then decide again.") from None


def sequence_in_force(station: Station) -> str:
    """Return the revision of the sequence in force, "" where its file does not hold."""
    try:
        return parse_sequence(read_toml(station.sequence)).revision
    except FileContractError:
        return ""
