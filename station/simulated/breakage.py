"""What breaks inside the instruments and on the bench when a fault strikes."""

from collections.abc import Callable, Mapping
from threading import Event, Lock, Thread

from station.simulated.accents import AccentedInstrument
from station.simulated.digitizer_instrument import DigitizerInstrument
from station.simulated.drive_instrument import DriveInstrument
from station.simulated.fault_plan import Fault
from station.simulated.modbus_drive import ModbusDrive
from station.simulated.rig import Rig
from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import ScpiInstrument
from station.simulated.supply_instrument import SupplyInstrument

OTHER_SERIAL = "EB-XXX-999"
Native = ScpiInstrument | ModbusDrive


class Breakage:
    """Breaks and mends `instruments` (role -> as served) and what `rig` lets a hand do.

    `drop_clients` closes every connection of a role.
    """

    def __init__(self, rig: Rig, instruments: Mapping[str, Native | AccentedInstrument],
                 drop_clients: Callable[[str], None]) -> None:
        self._rig, self._drop_clients = rig, drop_clients
        self._native = {role: each.native if isinstance(each, AccentedInstrument) else each
                        for role, each in instruments.items()}
        self._lock, self._ended = Lock(), Event()
        self._menders: list[Thread] = []

    def strike(self, role: str, fault: Fault) -> None:
        """Let `fault`, counted by the messages of `role`, happen."""
        deeds: dict[str, Callable[[], None]] = {
            "guard_opened": self._rig.open_guard,
            "emergency_stop": lambda: setattr(self._rig, "emergency_stop_healthy", False),
            "supply_tripped": lambda: self._supply().trip(),
            "clipped": lambda: setattr(self._digitizer(), "clips_next", True),
            "no_trigger": lambda: setattr(self._digitizer(), "misses_next", True),
            "no_ramp": lambda: self._disobey(fault, switch=True),
            "runs_on": lambda: self._disobey(fault, switch=False),
        }
        inside: dict[str, Callable[[Native], None]] = {
            "restart": lambda each: each.restart(),
            "power_cut": lambda each: self._cut(role, each),
            "other_serial": lambda each: self._exchange(role, each, fault.seconds),
        }
        native = self._native[role]
        if fault.kind in deeds:
            deeds[fault.kind]()
        elif fault.kind in inside:
            inside[fault.kind](native)
        elif isinstance(native, ScpiInstrument):
            native.report(ScpiError(-310, "left by a fault"))

    def mend(self) -> None:
        """Make every instrument obey and be itself again; guard and emergency stop are a person's."""
        for each in self._native.values():
            each.posing_as = ""
            if isinstance(each, DriveInstrument | ModbusDrive):
                each.obeys_ramp = each.obeys_switch = True
            if isinstance(each, DigitizerInstrument):
                each.clips_next = each.misses_next = False

    def end(self) -> None:
        """Wait for whatever still waits to mend something."""
        self._ended.set()
        with self._lock:
            menders = list(self._menders)
        for mender in menders:
            mender.join()

    def _cut(self, role: str, each: Native) -> None:
        each.restart()
        self._drop_clients(role)

    def _exchange(self, role: str, each: Native, seconds: float) -> None:
        each.posing_as = OTHER_SERIAL
        self._drop_clients(role)
        self._later(seconds, lambda: setattr(each, "posing_as", ""))

    def _disobey(self, fault: Fault, *, switch: bool) -> None:
        drive = self._native["drive"]
        if isinstance(drive, DriveInstrument | ModbusDrive):
            drive.obeys_ramp, drive.obeys_switch = False, switch
            self._later(fault.seconds, lambda: self._obey(drive))

    @staticmethod
    def _obey(drive: DriveInstrument | ModbusDrive) -> None:
        drive.obeys_ramp = drive.obeys_switch = True

    def _supply(self) -> SupplyInstrument:
        supply = self._native["supply"]
        if not isinstance(supply, SupplyInstrument):
            raise TypeError("the supply is another kind of instrument")
        return supply

    def _digitizer(self) -> DigitizerInstrument:
        digitizer = self._native["digitizer"]
        if not isinstance(digitizer, DigitizerInstrument):
            raise TypeError("the digitizer is another kind of instrument")
        return digitizer

    def _later(self, seconds: float, mend: Callable[[], None]) -> None:
        def wait() -> None:
            self._ended.wait(seconds)
            mend()

        thread = Thread(target=wait, name="mender")
        with self._lock:
            self._menders = [each for each in self._menders if each.is_alive()] + [thread]
            thread.start()
