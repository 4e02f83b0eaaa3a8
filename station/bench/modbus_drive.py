"""The drive role over Modbus TCP, for drives with the state machine of CiA 402."""

from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Event

from station.bench.cia402 import (
    DISABLE_VOLTAGE,
    FAULT_RESET,
    QUICK_STOP,
    State,
    is_fault,
    state_of,
    word_towards_operation,
)
from station.bench.drive_limits import POLL, DriveLimits, is_near, require_closed
from station.bench.identity import Identity
from station.bench.modbus_session import Exchange, ModbusSession
from station.bench.register_map import RegisterMap
from station.bench.roles import Guard
from station.clock import Clock
from station.errors import BenchError, InstrumentError, NoReplyError

STEP_DEADLINE = 2.0     # s for one step of the state machine; power stages precharge, common practice, no source
TARGET_REACHED = 1 << 10    # bit of the status word
GIVES_TORQUE = (State.OPERATION_ENABLED, State.QUICK_STOP_ACTIVE, State.FAULT_REACTION_ACTIVE)


@dataclass(frozen=True, slots=True)
class ModbusDrive:
    """Fills the `Drive` role. The session for stopping is a second connection, opened when it is needed."""

    session: ModbusSession
    stop_session: ModbusSession
    registers: RegisterMap
    guard: Guard
    limits: DriveLimits
    clock: Clock
    _target: list[float] = field(default_factory=lambda: [0.0])   # rad/s, the last speed asked for
    _meant_on: Event = field(default_factory=Event)     # from enabling to stopping

    def identity(self) -> Identity:
        """Return who answers; raise BenchNotFitError when it is another than the bench file names."""
        return self.session.identify()

    def self_test(self) -> str | None:
        """Return None, or the fault that the drive's own supervision reports: Modbus has no self-test to start."""
        return self.trip()

    def drain_errors(self) -> tuple[str, ...]:
        """Return the fault present, if any; it stays until `clear`."""
        fault = self.trip()
        return () if fault is None else (fault,)

    def enable(self) -> None:
        """Switch the power stage on at zero speed, with the bench file's speed limit and watchdog.

        Zero is written before and after enabling: some makes clear their target then, others keep an old one.
        """
        require_closed(self.guard)
        self._target[0] = 0.0
        self.session.exchange("its settings", self._prepare)
        self.set_watchdog(self.limits.watchdog)
        self._walk_to_operation()
        self.session.exchange("target zero", lambda drive: drive.write(self.registers.target_speed, 0))
        self._meant_on.set()

    def spin(self, speed: float, ramp: float) -> None:
        """Head for `speed`, rad/s, at `ramp`, rad/s2; BenchNotFitError with open guard or above the limit."""
        require_closed(self.guard)
        self.limits.require_speed(speed)
        self._target[0] = speed
        self.session.exchange("its target", lambda drive: self._head_for(drive, speed, ramp))

    def is_settled(self) -> bool:
        """Return whether the ramp is over and the shaft turns at the speed asked for."""
        return self.session.exchange("its status", self._is_settled)

    def speed(self) -> float:
        """Return the indicated speed, rad/s."""
        return self._speed(self.session)

    def drag_torque(self) -> float:
        """Return the torque that turns the motor, N m."""
        return self.session.exchange("its torque", lambda drive: drive.read_quantity(self.registers.torque))

    def stop(self) -> None:
        """Ramp down to rest, then switch off; BenchError when it still turns or gives torque after the deadline."""
        self._stop(self.session)

    def trip(self) -> str | None:
        """Return why the drive switched itself off, or None.

        Registers do not tell a restart, so a drive that is off unasked counts too, unless guard or emergency stop
        have taken its torque away: who watches those tells so.
        """
        state, fault = self.session.exchange("its fault", self._state_and_fault)
        if fault is None and state not in GIVES_TORQUE and self._meant_on.is_set():
            guard = self.guard.state()
            if guard.closed and guard.emergency_stop_healthy and self._meant_on.is_set():
                return f"{state.value}, though it was not told to; it may have restarted"
        return fault

    def clear(self) -> None:
        """Clear a trip; without one, nothing is written."""
        state = self._state()
        if not is_fault(state):
            return
        self._meant_on.clear()
        # A fault is reset by the rising bit, so the bit must have been low before.
        self._command(DISABLE_VOLTAGE)
        self._await(lambda state: state is not State.FAULT_REACTION_ACTIVE, "the end of the fault reaction",
                    self.limits.stop_deadline)
        self._command(FAULT_RESET)
        self._await(lambda state: not is_fault(state), "a reset fault", STEP_DEADLINE)
        self._command(DISABLE_VOLTAGE)

    def set_watchdog(self, seconds: float) -> None:
        """Have the drive stop by itself after so long without a message; 0 switches that off.

        Read back: a drive that keeps another time would turn on when nobody listens.
        """
        register = self.registers.watchdog
        raw = round(seconds / register.factor) or int(seconds > 0)   # rounding must not switch it off

        def write(drive: Exchange) -> int:
            drive.write(register, raw)
            return drive.read(register)
        kept = self.session.exchange("its watchdog", write)
        if kept != raw:
            raise BenchError("the drive does not keep its watchdog time", where="drive",
                             expected=f"{raw * register.factor:g} s", got=f"{kept * register.factor:g} s",
                             remedy="Check the watchdog register in the register map and the drive's settings.")

    def safe(self) -> None:
        """Ramp down to rest and switch off, over a connection of its own: never behind another exchange.

        A drive that takes only one connection is stopped over that one, and what it was busy with is given up.
        """
        self._stop(self.session if self._must_share() else self.stop_session)

    def _must_share(self) -> bool:
        if self.registers.clients > 1:
            try:
                self._command(QUICK_STOP, self.stop_session)
            except NoReplyError:
                pass
            else:
                return False
        self.session.give_up()
        return True

    def _prepare(self, drive: Exchange) -> None:
        for register, raw in self.registers.settings:
            drive.write(register, raw)
        drive.write(self.registers.target_speed, 0)     # first: a drive may refuse a limit below an old target
        drive.write_quantity(self.registers.speed_limit, self.limits.max_speed)

    def _walk_to_operation(self) -> None:
        reached = self._state()
        while reached is not State.OPERATION_ENABLED:
            if is_fault(reached):
                raise self._not_enabled(self.trip() or reached.value)
            word = word_towards_operation(reached)
            if word is not None:
                self._command(self.registers.enable_operation if reached is State.SWITCHED_ON else word)
            reached = self._next_state(reached)

    def _next_state(self, left: State) -> State:
        try:
            return self._await(lambda state: state is not left, f"a step on from {left.value}", STEP_DEADLINE)
        except InstrumentError as error:
            self._command(DISABLE_VOLTAGE)
            raise self._not_enabled(f"stays in {left.value}") from error

    @staticmethod
    def _not_enabled(got: str) -> InstrumentError:
        return InstrumentError("the drive did not switch on", where="drive", expected="operation enabled", got=got,
                               remedy="Close the guard, press START, release safe torque off; look at its display.")

    def _head_for(self, drive: Exchange, speed: float, ramp: float) -> None:
        for register in self.registers.ramps:
            drive.write_quantity(register, ramp)
        drive.write_quantity(self.registers.target_speed, speed)

    def _is_settled(self, drive: Exchange) -> bool:
        status = drive.read(self.registers.status)
        if state_of(status) is not State.OPERATION_ENABLED or not status & TARGET_REACHED:
            return False
        return is_near(drive.read_quantity(self.registers.actual_speed), self._target[0])

    def _stop(self, session: ModbusSession) -> None:
        self._meant_on.clear()
        try:
            self._command(QUICK_STOP, session)
            self.limits.wait_for_rest(lambda: self._speed(session), self.clock)
        finally:
            self._target[0] = 0.0
            self._command(DISABLE_VOLTAGE, session)
        self._require_off(session)

    def _require_off(self, session: ModbusSession) -> None:
        end = self.clock.monotonic() + STEP_DEADLINE
        while (state := self._state(session)) in GIVES_TORQUE:
            if self.clock.monotonic() > end:
                raise BenchError("the drive did not switch off", where="drive", expected="power stage off",
                                 got=state.value, remedy="Press the emergency stop; keep the guard closed until the "
                                 "shaft rests.")
            self.clock.pause(POLL)

    def _speed(self, session: ModbusSession) -> float:
        return session.exchange("its speed", lambda drive: drive.read_quantity(self.registers.actual_speed))

    def _state(self, session: ModbusSession | None = None) -> State:
        return (session or self.session).exchange("its status",
                                                  lambda drive: state_of(drive.read(self.registers.status)))

    def _command(self, word: int, session: ModbusSession | None = None) -> None:
        (session or self.session).exchange(f"control word {word:04X}h",
                                           lambda drive: drive.write(self.registers.control, word))

    def _state_and_fault(self, drive: Exchange) -> tuple[State, str | None]:
        state = state_of(drive.read(self.registers.status))
        if not is_fault(state):
            return state, None
        code = drive.read(self.registers.fault_code)
        return state, f"fault {code:04X}h: " + self.registers.fault_texts.get(code, "look it up in the drive's manual")

    def _await(self, is_reached: Callable[[State], bool], what: str, seconds: float) -> State:
        end = self.clock.monotonic() + seconds
        while not is_reached(state := self._state()):
            if self.clock.monotonic() > end:
                raise InstrumentError("the drive does not go on", where="drive", expected=what, got=state.value,
                                      remedy="Look at the drive's display and clear what it shows.")
            self.clock.pause(POLL)
        return state
