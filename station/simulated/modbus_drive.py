"""The simulated Modbus drive: objects of CiA 402 in registers of its own, on the shaft of the rig."""

from collections.abc import Callable
from dataclasses import dataclass

from station.errors import UsageError
from station.simulated.profile_machine import COAST, RAMP_THEN_HOLD, RAMP_THEN_OFF, ProfileMachine
from station.simulated.rig import REST_RPM, Rig

MAKER, MODEL, SERIAL, FIRMWARE = "EMBEDDED BENCH", "DRIVE-402", "EB-DRV-402", "1"
SERIAL_WORDS = 8
TARGET_REACHED, INTERNAL_LIMIT = 1 << 10, 1 << 11
BAND = 0.005                # of the wanted speed, within which it counts as reached
VELOCITY, PROFILE_VELOCITY = 2, 3
RAMP_BITS = 0x70            # of the control word; velocity mode turns the shaft only when all three are set
FINE = 0.01                 # r/min per count of the profile velocity objects
TORQUE_COUNT, CURRENT_COUNT = 2e-4, 0.01    # N m, A
WATCHDOG_COUNT = 0.01       # s
CONTACT_LOST, OVERLOAD = 0x7500, 0x8400     # fault codes
NO_REACTION, FAULT_REACTION, VOLTAGE_OFF = 0, 1, 2   # to loss of contact; 3 is quick stop
HIGHEST_RPM = 12_000.0


class UnwelcomeError(Exception):
    """A number that the drive does not take."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One object in the registers: where, how wide, and what reading and writing it does."""

    address: int
    words: int
    read: Callable[[], int]
    write: Callable[[int], None] | None = None     # the number is signed where its highest bit is set
    signed: bool = False


class ModbusDrive:
    """Registers in, registers out; the watchdog counts wall seconds since the last request of any client."""

    def __init__(self, rig: Rig, monotonic: Callable[[], float]) -> None:
        self._rig, self._shaft, self._monotonic = rig, rig.shaft, monotonic
        self.obeys_ramp = self.obeys_switch = True      # else its power stage goes on as it did
        self.posing_as = ""     # the serial number of another drive that stands in its place
        self._power_on()
        self.entries = {entry.address: entry for entry in (*self._words(), *self._speeds(), *self._ramp_entries())}

    def _power_on(self) -> None:
        self.machine = ProfileMachine(self)
        self._word = self._mode = 0
        self._target = {VELOCITY: 0.0, PROFILE_VELOCITY: 0.0}     # r/min
        self._ramps = {"up": 2000.0, "down": 2000.0, "quick stop": 4000.0}   # r/min per s
        self._fractions = {0x0142: 2000, 0x0144: 1, 0x0145: 2000, 0x0147: 1}
        self._loss_reaction, self._watchdog = FAULT_REACTION, 0.0
        self._last_heard = self._monotonic()

    def restart(self) -> None:
        """Lose power for a moment: the shaft coasts, and all is set as after switching on."""
        self._shaft.enable(False)
        self._power_on()

    # --- as the server sees it --------------------------------------------------------------------
    def heard(self) -> None:
        """Start the watchdog's count again."""
        self._last_heard = self._monotonic()

    def look(self) -> None:
        """Let time pass: safe torque off, overload, ends of ramps, loss of contact."""
        self.machine.look()
        if self._shaft.tripped is not None:
            self.machine.fail(OVERLOAD, coast=True)
        if self._watchdog and self.machine.is_enabled and self._monotonic() - self._last_heard > self._watchdog:
            self._lose_contact()

    def read(self, entry: Entry) -> int:
        """Return the number in `entry`, as the unsigned number that its registers hold."""
        self.look()
        return entry.read() & ((1 << 16 * entry.words) - 1)

    def write(self, entry: Entry, raw: int) -> None:
        """Write the unsigned number `raw`; UnwelcomeError when the drive does not take it."""
        self.look()
        if entry.write is None:
            raise UnwelcomeError
        top = 1 << (16 * entry.words - 1)
        try:
            entry.write(raw - 2 * top if entry.signed and raw & top else raw)
        except UsageError as error:     # above the speed limit
            raise UnwelcomeError from error

    # --- power stage ------------------------------------------------------------------------------
    def may_turn(self) -> bool:
        """Return whether safe torque off is released: guard, emergency stop, and START to begin with."""
        rig = self._rig
        return rig.guard_closed and rig.emergency_stop_healthy and (rig.start_latched or self._shaft.enabled)

    def energise(self) -> bool:
        """Switch the power stage on at zero speed: targets written before do not count, as some makes do it."""
        self._target = dict.fromkeys(self._target, 0.0)
        self._shaft.set_target(0.0)
        return self._shaft.enable(True)

    def cut(self) -> None:
        """Take the torque away; the shaft coasts."""
        self._shaft.enable(False)

    def ramp_to_rest(self) -> None:
        """Bring the shaft to rest on the quick-stop ramp, then switch off."""
        self._shaft.set_slew(self._ramps["quick stop"])
        self._shaft.stop()

    def ramp_and_hold(self) -> None:
        """Bring the shaft to rest on the quick-stop ramp and hold it there."""
        self._shaft.set_slew(self._ramps["quick stop"])
        self._shaft.set_target(0.0)

    def clear_trip(self) -> None:
        """Clear what tripped the power stage; it stays off."""
        self._shaft.clear_trip()

    def is_on(self) -> bool:
        """Return whether the power stage gives torque."""
        return self._shaft.enabled

    # --- objects ----------------------------------------------------------------------------------
    def _words(self) -> list[Entry]:
        text = [Entry(0x0200 + k, 1, lambda k=k: self._serial_word(k))     # type: ignore[misc]
                for k in range(SERIAL_WORDS)]
        return [
            Entry(0x0100, 1, lambda: self._word, self._command),
            Entry(0x0101, 1, self._status),
            Entry(0x0102, 1, lambda: self.machine.fault_code),
            Entry(0x0103, 1, lambda: self._mode, self._set_mode, signed=True),
            Entry(0x0104, 1, lambda: self._mode),
            Entry(0x0105, 1, lambda: self.machine.quick_stop_option, self._set_quick_stop, signed=True),
            Entry(0x0106, 1, lambda: self._loss_reaction, self._set_loss_reaction, signed=True),
            Entry(0x0130, 1, lambda: round(self._watchdog / WATCHDOG_COUNT), self._set_watchdog),
            *text,
        ]

    def _serial_word(self, number: int) -> int:
        serial = (self.posing_as or SERIAL).ljust(2 * SERIAL_WORDS, "\0").encode("ascii")
        return int.from_bytes(serial[2 * number:2 * number + 2], "big")

    def _speeds(self) -> list[Entry]:
        shaft, rig = self._shaft, self._rig
        return [
            Entry(0x0110, 2, lambda: round(self._target[PROFILE_VELOCITY] / FINE),
                  lambda raw: self._aim(PROFILE_VELOCITY, raw * FINE), signed=True),
            Entry(0x0112, 2, lambda: round(shaft.speed_rpm(rig.now()) / FINE)),
            Entry(0x0114, 2, lambda: round(shaft.limit_rpm / FINE), self._set_limit),
            Entry(0x0118, 1, lambda: round(shaft.mean_torque(rig.now()) / TORQUE_COUNT)),
            Entry(0x0119, 1, lambda: round(shaft.current(rig.now()) / CURRENT_COUNT)),
            Entry(0x0140, 1, lambda: round(self._target[VELOCITY]), lambda raw: self._aim(VELOCITY, raw), signed=True),
            Entry(0x0141, 1, lambda: round(shaft.speed_rpm(rig.now()))),
        ]

    def _ramp_entries(self) -> list[Entry]:
        profile = [self._ramp_entry(address, name)
                   for address, name in ((0x0120, "up"), (0x0122, "down"), (0x0124, "quick stop"))]
        # In velocity mode a ramp is a change of speed (r/min, two registers) in a time (s, one register).
        fractions = [Entry(address, 2 if address in (0x0142, 0x0145) else 1,
                           lambda address=address: self._fractions[address],    # type: ignore[misc]
                           lambda raw, address=address: self._set_fraction(address, raw))   # type: ignore[misc]
                     for address in self._fractions]
        return [*profile, *fractions]

    def _ramp_entry(self, address: int, name: str) -> Entry:
        return Entry(address, 2, lambda: round(self._ramps[name] / FINE), lambda raw: self._set_ramp(name, raw * FINE))

    def _command(self, word: int) -> None:
        self._word = word
        if self._is_ignored(word):
            return
        self.machine.command(word)
        self._follow_target()

    def _is_ignored(self, word: int) -> bool:
        """Return whether a drive that does not obey lets this control word pass."""
        if word & 0x02 and not word & 0x04:     # quick stop
            return not self.obeys_ramp
        return not self.obeys_switch and word & 0x0F != 0x0F

    def _status(self) -> int:
        status = self.machine.status
        wanted = self._wanted()
        near = abs(self._shaft.speed_rpm(self._rig.now()) - wanted) <= max(BAND * abs(wanted), REST_RPM)
        if self.machine.is_enabled and near and self._shaft.settled():
            status |= TARGET_REACHED
        return status

    def _wanted(self) -> float:
        """Return the speed that mode and control word ask for, r/min."""
        if self._mode == VELOCITY and self._word & RAMP_BITS != RAMP_BITS:
            return 0.0
        return self._target.get(self._mode, 0.0)

    def _aim(self, mode: int, rpm: float) -> None:
        if abs(rpm) > self._shaft.limit_rpm * (1 + 1e-9):
            raise UnwelcomeError
        self._target[mode] = rpm
        self._follow_target()

    def _follow_target(self) -> None:
        if self.machine.is_enabled and self._shaft.target_rpm != self._wanted():
            self._shaft.set_slew(self._ramps["up"])
            self._shaft.set_target(self._wanted())

    def _set_mode(self, mode: int) -> None:
        if mode not in (VELOCITY, PROFILE_VELOCITY) or self.machine.is_enabled:
            raise UnwelcomeError
        self._mode = mode

    def _set_quick_stop(self, option: int) -> None:
        if option not in (COAST, *RAMP_THEN_OFF, *RAMP_THEN_HOLD):
            raise UnwelcomeError
        self.machine.quick_stop_option = option

    def _set_loss_reaction(self, reaction: int) -> None:
        if reaction not in (0, 1, 2, 3):
            raise UnwelcomeError
        self._loss_reaction = reaction

    def _set_watchdog(self, counts: int) -> None:
        self._watchdog = counts * WATCHDOG_COUNT

    def _set_limit(self, raw: int) -> None:
        if raw * FINE > HIGHEST_RPM or any(abs(target) > raw * FINE for target in self._target.values()):
            raise UnwelcomeError
        self._shaft.set_limit(raw * FINE)

    def _set_ramp(self, name: str, rpm_per_s: float) -> None:
        if not 0 < rpm_per_s <= 100_000.0:
            raise UnwelcomeError
        self._ramps[name] = rpm_per_s

    def _set_fraction(self, address: int, raw: int) -> None:
        if not raw:
            raise UnwelcomeError
        self._fractions[address] = raw
        self._ramps["up"] = self._fractions[0x0142] / self._fractions[0x0144]
        self._ramps["down"] = self._fractions[0x0145] / self._fractions[0x0147]

    def _lose_contact(self) -> None:
        if not self.obeys_ramp:
            return
        if self._loss_reaction == FAULT_REACTION:
            self.machine.fail(CONTACT_LOST, coast=False)
        elif self._loss_reaction == VOLTAGE_OFF:
            self.machine.switch_off()
        elif self._loss_reaction != NO_REACTION:
            self.machine.quick_stop()
