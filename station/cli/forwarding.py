"""`station plant forward`: everything stored here handed over to the plant that the station file names."""

from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import Annotated

import numpy as np
import typer

from station.cli.console import errors, results
from station.clock import Clock, system_clock
from station.errors import EvidenceError, UsageError
from station.exit_code import ExitCode
from station.plant.forward_thread import ForwardThread
from station.plant.hand_over import HandOver, Progress
from station.plant.plant_client import PlantClient
from station.plant.refused import ForkError
from station.record.cosignature import load_witness
from station.record.log_key import LogKey
from station.record.schema import DATABASE
from station.sequence.plant_address import parse_plant_url
from station.sequence.station_file import PlantServer, Station, load_station

LOOK = 1.0      # s between two looks at how it stands, to be shown


def forward(
    station: Annotated[Path, typer.Option("--station", help="The station file.")] = Path("station.toml"),
    once: Annotated[bool, typer.Option("--once", help="End when nothing is left to hand over, or when the plant cannot "
                                       "be reached.")] = False,
) -> int:
    """Hand everything stored over to the plant, also while the station tests; until interrupted, or once."""
    here, clock = load_station(station), system_clock()
    hand_over = open_hand_over(here, clock)
    if not (here.store / DATABASE).is_file():
        raise UsageError("no store here", where=str(here.store), expected="the store of a station", got="none",
                         remedy="Test a motor first.")
    if not once:
        return _go_on(here, hand_over, clock)
    try:
        progress = hand_over.work(lambda: True, lambda so_far: _say(_words(so_far)))
    except ForkError as fork:
        raise EvidenceError(fork.what, where=fork.where, expected=fork.expected, got=fork.got,
                            remedy=fork.remedy) from fork
    _say(_words(progress))
    for name, why in hand_over.why_left().items():
        errors.print(f"{name}: {why}", markup=False, highlight=False, soft_wrap=True)
    return int(ExitCode.PASS if progress.is_done and not progress.left else ExitCode.EVIDENCE)


def forwarding(station: Station, clock: Clock) -> AbstractContextManager[ForwardThread | None]:
    """Hand over in a thread while motors are tested, if the station file names a plant."""
    if station.plant is None:
        return nullcontext()
    return _thread(station, open_hand_over(station, clock), clock)     # a faulty file is told before anything moves


def open_hand_over(station: Station, clock: Clock) -> HandOver:
    """Return what hands the store of `station` over, without speaking to the plant.

    Raises
    ------
    UsageError
        The station file names no plant, or the file of a key or certificate is not there or faulty.
    """
    named = _plant_of(station)
    trust = station.folder / named.trust if named.trust else None
    if trust is not None and not trust.is_file():
        raise UsageError("certificate of the plant is not there", where=f"{station.file}: plant.trust",
                         expected="a PEM file", got=f"no file {trust}", remedy="Put it there, or leave the key out.")
    assert station.keys is not None  # noqa: S101 - the station file asks for [signing] beside [plant]
    key = LogKey.load(station.keys)
    client = PlantClient(parse_plant_url(named.url), key, clock, trust=trust)
    return HandOver(station.store, client, key, load_witness(station.folder / named.witness), clock)


def _plant_of(station: Station) -> PlantServer:
    if station.plant is None:
        raise UsageError("no plant", where=str(station.file), expected="a table [plant] with its url and witness",
                         got="none", remedy='Add `[plant]`, `url = "https://ADDRESS:8490"` and `witness = "FILE"`.')
    return station.plant


def _go_on(station: Station, hand_over: HandOver, clock: Clock) -> int:
    said = ""
    with _thread(station, hand_over, clock) as thread:
        while True:
            words = _words(thread.state.progress)
            if words != said and thread.state.progress.entries:
                _say(words)
                said = words
            clock.pause(LOOK)


def _thread(station: Station, hand_over: HandOver, clock: Clock) -> ForwardThread:
    own = np.random.default_rng(list(station.origin.encode()))     # so that no two stations wait alike
    return ForwardThread(station.store, hand_over, clock, _tell, own)


def _words(progress: Progress) -> str:
    rest = f", {progress.left} file(s) left" if progress.left else ""
    alarm = f"; alarm at the plant: {progress.alarm}" if progress.alarm else ""
    return (f"{progress.acknowledged} of {progress.entries} entries handed over, with the files of "
            f"{progress.files}{rest}{alarm}")


def _say(text: str) -> None:
    results.print(text, markup=False, highlight=False, soft_wrap=True)


def _tell(text: str) -> None:
    errors.print(f"Plant: {text}", markup=False, highlight=False, soft_wrap=True)
