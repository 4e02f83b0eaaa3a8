"""The simulated bench: every instrument of a rig on its own loopback port, and the side channel."""

from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from functools import partial
from types import TracebackType
from typing import Literal, Self, TypeVar

from station.clock import Clock, system_clock
from station.errors import UsageError
from station.simulated.accents import AccentedInstrument, Tongue
from station.simulated.breakage import Breakage
from station.simulated.digitizer_instrument import DigitizerInstrument, FourChannelDigitizer, SensorDigitizer
from station.simulated.drive_instrument import DriveInstrument
from station.simulated.fault_plan import FRAMES, TEXT, Fault
from station.simulated.guard_instrument import GuardInstrument
from station.simulated.headed_tongue import HEADED
from station.simulated.hislip_server import HislipServer
from station.simulated.insulation_instrument import InsulationInstrument
from station.simulated.line_faults import LineFaults
from station.simulated.listener import Listener
from station.simulated.modbus_drive import ModbusDrive
from station.simulated.modbus_port import ModbusPort
from station.simulated.modbus_server import ModbusServer
from station.simulated.ohmmeter_instrument import OhmmeterInstrument
from station.simulated.rig import Rig
from station.simulated.scpi_instrument import ScpiInstrument
from station.simulated.scpi_server import ScpiServer
from station.simulated.served import Served
from station.simulated.side_channel import SideServer
from station.simulated.supply_instrument import SupplyInstrument
from station.simulated.terse_tongue import TERSE
from station.simulated.thermometer_instrument import ThermometerInstrument

Server = TypeVar("Server")

ROLES = ("drive", "digitizer", "ohmmeter", "supply", "insulation", "thermometer", "guard")
SENSOR_DIGITIZER = "sensor_digitizer"      # a role that only some benches have
Digitizers = Literal["six channels", "four channels", "two instruments"]
TONGUES = {tongue.name: tongue for tongue in (TERSE, HEADED)}


class SimulatedBench:
    """Serves all instruments of `rig` inside its `with` block.

    `ports` gives a TCP port per role; 0 or a missing role takes a free one, `.ports` tells which.
    `hislip_ports` names the roles that serve HiSLIP too; `.hislip_ports` tells where.
    `tongues` names the roles that speak another tongue than SCPI, see `TONGUES`.
    `bits` is the digitizer's true resolution; `drive` is which of the two drives turns the shaft. `digitizers`
    says whether one takes all signals at once, one with a switch takes them in two captures, or
    a second one takes the sensors.
    """

    def __init__(self, rig: Rig, ports: Mapping[str, int], seed: int = 1, side_port: int = 0, bits: int = 16,
                 clock: Clock | None = None, hislip_ports: Mapping[str, int] | None = None,
                 drive: Literal["scpi", "modbus"] = "scpi", tongues: Mapping[str, str] | None = None,
                 digitizers: Digitizers = "six channels") -> None:
        self.rig, self._asked, self._asked_side = rig, dict(ports), side_port
        self._monotonic = (clock or system_clock()).monotonic
        built = _build(rig, seed, bits, self._monotonic, digitizers)
        _require_known([*ports, *(hislip_ports or {}), *(tongues or {})], built)
        self._instruments: dict[str, ScpiInstrument | AccentedInstrument | ModbusDrive] = {
            role: _accented(instrument, (tongues or {}).get(role, "")) for role, instrument in built.items()}
        if drive == "modbus":
            self._instruments["drive"] = ModbusDrive(rig, self._monotonic)
        self._breakage = Breakage(rig, self._instruments, lambda role: self._faults[role].drop_clients())
        self._stack = ExitStack()
        self._faults: dict[str, LineFaults] = {}
        self.ports: dict[str, int] = {}
        self.hislip_ports = dict(hislip_ports or {})
        self.side_port = side_port

    def __enter__(self) -> Self:
        """Start every instrument and the side channel; UsageError when a port is taken."""
        with ExitStack() as stack:
            stack.callback(self._breakage.end)
            for role, instrument in self._instruments.items():
                medium = FRAMES if isinstance(instrument, ModbusDrive) else TEXT
                self._faults[role] = LineFaults(self._monotonic, partial(self._breakage.strike, role), medium)
                self.ports[role] = stack.enter_context(self._open(role, instrument, stack)).port
                if role in self.hislip_ports:
                    self.hislip_ports[role] = stack.enter_context(self._open_hislip(role, instrument)).port
            side = _listen(self._asked_side, "side channel",
                           lambda port: SideServer(self.rig, port, self))
            self.side_port = stack.enter_context(side).port
            self._stack = stack.pop_all()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Switch everything off: no thread and no socket is left, and nothing turns or is live."""
        self._stack.close()
        self._faults.clear()
        self.rig.shaft.enable(False)
        self.rig.set_insulation(0.0, on=False)
        self.rig.set_sensor_supply(0.0, on=False)

    def identity(self, role: str) -> str:
        """Return what the instrument of `role` answers to *IDN?, or nothing where it has no such question."""
        _require_known([role], self._instruments)
        instrument = self._instruments[role]
        return "" if isinstance(instrument, ModbusDrive) else instrument.execute(b"*IDN?\r").decode("ascii").strip()

    def _open(self, role: str, instrument: Served | ModbusDrive, stack: ExitStack) -> Listener:
        asked, faults = self._asked.get(role, 0), self._faults[role]
        if not isinstance(instrument, ModbusDrive):
            return _listen(asked, role, lambda port: ScpiServer(instrument, port, faults))
        behind = stack.enter_context(ModbusServer(instrument, 0)).port
        return _listen(asked, role, lambda port: ModbusPort(port, behind, faults))

    def _open_hislip(self, role: str, instrument: Served | ModbusDrive) -> HislipServer:
        if isinstance(instrument, ModbusDrive):
            raise UsageError("no HiSLIP here", where=f"simulated {role}", expected="an instrument that speaks SCPI",
                             got="another protocol", remedy="Leave this role out of the HiSLIP ports.")
        return _listen(self.hislip_ports[role], f"{role} over HiSLIP",
                       lambda port: HislipServer(instrument, port, self._faults[role]))

    def silence(self, role: str, seconds: float) -> None:
        """Let the instrument of `role` neither hear nor answer for so many wall seconds."""
        _require_known([role], self._instruments)
        self._faults[role].silence(seconds)

    def arm(self, role: str, fault: Fault) -> None:
        """Let `fault` strike at a message of `role`; UsageError for a role that cannot have it."""
        _require_known([role], self._instruments)
        self._faults[role].plan.arm(fault)

    def struck(self, role: str) -> list[str]:
        """Return which faults have struck at messages of `role` since `mend`, in order."""
        _require_known([role], self._instruments)
        return list(self._faults[role].plan.struck)

    def mend(self) -> None:
        """End every fault and take back those that have not struck; guard and emergency stop are a person's."""
        for faults in self._faults.values():
            faults.mend()
        self._breakage.mend()


def _accented(instrument: ScpiInstrument, tongue: str) -> ScpiInstrument | AccentedInstrument:
    known: dict[str, Tongue] = TONGUES
    if not tongue:
        return instrument
    if tongue not in known:
        raise UsageError("no such tongue", where="simulated bench", expected="one of " + ", ".join(known),
                         got=tongue, remedy="Name a tongue of that list.")
    return AccentedInstrument(instrument, known[tongue])


def _build(rig: Rig, seed: int, bits: int, monotonic: Callable[[], float], digitizers: Digitizers
           ) -> dict[str, ScpiInstrument]:
    kind = FourChannelDigitizer if digitizers == "four channels" else DigitizerInstrument
    made = (DriveInstrument(rig, seed, monotonic), kind(rig, seed, bits),
            OhmmeterInstrument(rig, seed), SupplyInstrument(rig, seed), InsulationInstrument(rig, seed),
            ThermometerInstrument(rig, seed), GuardInstrument(rig))
    instruments: dict[str, ScpiInstrument] = dict(zip(ROLES, made, strict=True))
    if digitizers == "two instruments":
        instruments[SENSOR_DIGITIZER] = SensorDigitizer(rig, seed + 1, bits)
    return instruments


def _listen(port: int, name: str, start: Callable[[int], Server]) -> Server:
    try:
        return start(port)
    except OSError as error:
        raise UsageError("the port is taken", where=f"simulated {name}", expected=f"port {port} to be free",
                         got=str(error), remedy="End the other program, or give another port (0: any).") from error


def _require_known(roles: list[str], known: Iterable[str]) -> None:
    unknown = sorted(set(roles) - set(known))
    if unknown:
        raise UsageError("no such instrument", where="simulated bench", expected="one of " + ", ".join(known),
                         got=", ".join(unknown), remedy="Name the roles as in that list.")
