"""`station serve`: the pages for operator, engineer and auditor, on this computer."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, nullcontext
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from station.bench.roles import Colour, GuardState
from station.cli.console import results
from station.cli.drifting import DriftWatch, stopping
from station.cli.forwarding import forwarding
from station.cli.printing import hand_over, printing
from station.cli.serve_demo import demonstration, whom_to_be
from station.cli.testing import certify
from station.cli.workplace import Attendant, EmbeddedAttendant, Workplace, open_workplace
from station.clock import Clock, system_clock
from station.errors import StationError, UsageError
from station.listener import bound
from station.plant.forward_thread import ForwardThread
from station.record.statement import Statement
from station.record.store import Store
from station.screens.line import Line, Writing
from station.screens.line_state import LineState, Order
from station.screens.operator_view import key_of
from station.screens.orders import Orders
from station.screens.people import People
from station.screens.plant import load_plant, served_to_plant
from station.screens.refusal import Refusal, refusal_of
from station.screens.server import HOST, make_server
from station.screens.site import Site, make_site, people_folder
from station.screens.stack_light import StackLight
from station.screens.standing import Standing, standing_of
from station.screens.step_times import StepTimes
from station.screens.trail import Trail
from station.sequence.progress import Notice
from station.sequence.reference_check import PURPOSE, check_motors
from station.sequence.reference_file import ReferenceMotor, load_references
from station.sequence.run import RunResult
from station.sequence.runs_gate import FurtherRun
from station.sequence.station_file import Station, load_station
from station.study.drift import told

PORT = 8080
STATION_FILE = Path("station.toml")


def serve(
    station: Annotated[Path, typer.Option("--station", help="The station file.")] = STATION_FILE,
    demo: Annotated[Path | None, typer.Option("--demo", metavar="FOLDER", help="Instead, to try everything: a station "
                                              "with a simulated bench in FOLDER, made if absent, with people whose "
                                              "badges and passwords are printed.")] = None,
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port on this computer.")] = PORT,
    look_only: Annotated[bool, typer.Option("--look-only", help="Open no bench: show what is stored.")] = False,
    plant: Annotated[str, typer.Option(metavar="HOST:PORT", help="Serve other computers of the plant there, over TLS; "
                                       "nothing is tested from there.")] = "",
    certificate: Annotated[Path | None, typer.Option(help="PEM: the certificate of --plant, for the name that people "
                                                     "type.")] = None,
    key: Annotated[Path | None, typer.Option(help="PEM: its private key.")] = None,
) -> int:
    """Serve the pages of the station to the browser of this computer, until interrupted."""
    if demo is not None and (plant or station != STATION_FILE):
        raise UsageError("a demonstration is for this computer alone", where="station serve", expected="--demo without "
                         "--station and --plant: everybody knows its passwords", got="both",
                         remedy="Leave one of them out.")
    clock = system_clock()
    here = demonstration(demo, clock) if demo else load_station(station)
    beyond = load_plant(plant, certificate, key, clock) if plant or certificate or key else None
    with opened_site(here, clock, look_only=look_only) as site, closing(bound(HOST, port)) as socket, (
            served_to_plant(site, beyond) if beyond else nullcontext()):
        for address in (f"http://{HOST}:{port}/", *(beyond.addresses if beyond else ())):
            results.print(address, highlight=False)
        for line in whom_to_be(f"http://{HOST}:{port}") if demo else ():
            results.print(line, highlight=False, soft_wrap=True)
        make_server(site, port).run(sockets=[socket])
    return 0


@contextmanager
def opened_site(station: Station, clock: Clock, *, look_only: bool) -> Iterator[Site]:
    """Put together what the pages need; the bench is opened and given back within."""
    with ExitStack() as stack:
        if look_only:
            yield make_site(station, clock, None)
            return
        stack.enter_context(printing(station, clock))
        plant = stack.enter_context(forwarding(station, clock))
        found: list[Attendant] = []
        line = stack.enter_context(Line(lambda: opened_tester(station, found, plant), clock,
                                        station.panel.fails_in_a_row))
        light = stack.enter_context(StackLight(line.light, partial(_shown, line),
                                               simulated=station.simulated is not None))
        hands = found[0] if isinstance(found[0], EmbeddedAttendant) else None
        yield replace(make_site(station, clock, line, hands), light=light)


def _shown(line: Line) -> tuple[str, LineState]:
    """Return which state operators see, and the line's own."""
    state = line.state
    return key_of(state, by_fails=line.is_locked_by_fails(state)), state


@contextmanager
def opened_tester(station: Station, found: list[Attendant], plant: ForwardThread | None = None
                  ) -> Iterator["PlaceTester"]:
    """Open the workplace, in the thread that shall use it; its attendant is put into `found`."""
    with open_workplace(station, "nobody") as place:
        found.append(place.attendant)
        times = StepTimes(place.store, place.sequence, clock=place.clock)
        drift = DriftWatch(station)
        orders = Orders(station, place.bench_file, place.sequence, place.clock, partial(_drifted, station, drift))
        trail = Trail(People(people_folder(station), place.clock), place.clock)
        yield PlaceTester(place, orders, times, trail, drift, plant)


@dataclass(frozen=True, slots=True)
class _Withdrawable:
    """Hands of a person who may give the motor up before the guard is closed; see `Line.withdraw`."""

    go_on: Callable[[], None]
    put_in: Callable[[str], None]       # nothing to do at a real bench: the person puts in what was scanned

    def open_guard(self) -> None:
        """Wait on, or not."""
        self.go_on()

    def close_guard(self) -> None:
        """Wait on, or not."""
        self.go_on()

    def place(self, serial: str) -> None:
        """Put in what was scanned."""
        self.put_in(serial)

    def press_start(self) -> None:
        """Nothing to do: only the person's hand starts motion."""


@dataclass(frozen=True, slots=True)
class PlaceTester:
    """Tests for the screens as `station test` does: certificate and print queue included."""

    place: Workplace
    orders: Orders
    times: StepTimes
    trail: Trail
    drift: DriftWatch
    plant: ForwardThread | None = None      # what hands over beside the tests

    def order(self, serial: str, further: FurtherRun | None) -> Order:
        """Return what a motor would be tested by; StationError if it cannot be."""
        return self.orders.order(serial, further, self.times.by_type)

    def guard(self) -> GuardState:
        """Read the guard."""
        return self.place.bench.guard.state()

    def said(self, since: int) -> tuple[int, list[str]]:
        """Return what was said to the instruments; see `Transcript.since`."""
        return self.place.bench.transcript.since(since)

    def standing(self) -> Standing:
        """Return how the station itself stands."""
        place = self.place
        found = standing_of(place.station, place.store, place.bench_file, place.sequence, place.clock)
        try:
            drifted = _drifted(place.station, self.drift, place.store)
            warnings = tuple(told(self.drift.charts(place.store), shown=1))
        except StationError as error:
            return Standing(locked=refusal_of(error))
        return replace(found, locked=found.locked or drifted, drifting=warnings,
                       plant=self.plant.state if self.plant else None)

    def enter_trail(self) -> None:
        """Enter into the log what people have done since."""
        self.trail.enter(self.place.store)

    def fails_in_a_row(self) -> int:
        """Return how many motors failed one after the other, as the store has it."""
        return self.place.store.fails_in_a_row()

    def light(self, lamps: frozenset[Colour]) -> bool:
        """Light these lamps of the stack light; see `Guard.light`."""
        return self.place.bench.guard.light(lamps)

    def write(self, work: Writing) -> Statement:
        """Let `work` write to the store."""
        return work(self.place.store)

    def test(self, order: Order, operator: str, watch: Callable[[Notice], None], go_on: Callable[[], None],
             further: FurtherRun | None) -> dict[str, Any]:
        """Test one motor, issue its certificate, and return its record as stored; or check reference motors."""
        place = replace(self.place, operator=operator, attendant=_Withdrawable(go_on, self.place.attendant.place))
        if order.references:
            return _check(place, order, watch, further)
        record = place.test(order.serial, watch, further=further).record
        self.times.learn(record)
        hand_over(place.station, record, certify(place, record), operator, place.clock)
        return record


def _drifted(station: Station, drift: DriftWatch, store: Store) -> Refusal | None:
    """Return why only reference motors are tested: the bench has drifted, and the station file asks for a stop."""
    far = stopping(station, drift.charts(store))
    return Refusal("drift", (("chart", f"{far[0].key}: {far[0].latest.why}"),)) if far else None


def _check(place: Workplace, order: Order, watch: Callable[[Notice], None], further: FurtherRun | None
           ) -> dict[str, Any]:
    """Make a reference check and return it as stored; what was mended before is what the engineer said."""
    def run(motor: ReferenceMotor) -> RunResult:
        watch(Notice("motor", motor.serial, motor.serial))
        return place.run(motor.serial, watch, purpose=PURPOSE)

    motors = load_references(place.station.references, order.motor_type)
    done = f"{further.reason} ({further.person})" if further else ""
    entry, _trouble = check_motors(motors, run, place.sequence.labels(), done)
    return place.store.add_reference_check(entry)
