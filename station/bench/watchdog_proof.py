"""The proof that a drive stops by itself when contact is lost: it is left alone while it turns the shaft slowly."""

from collections.abc import Callable
from dataclasses import dataclass

from station.bench.bench import Bench
from station.bench.drive_limits import AT_REST, POLL, require_closed
from station.clock import Clock
from station.errors import BenchError, BenchNotFitError, StoppedError
from station.units import RPM, from_si

SPEED = 100 * RPM       # rad/s; slow enough for any motor, fast enough to be told from standstill
RAMP = 100 * RPM        # rad/s2
SETTLING = 15.0         # s for the ramp up
START_WAIT = 120.0      # s for a person to press START
LATE = 1.5              # the watchdog may come so much later than set
COMING_TO_REST = 3.0    # s from the watchdog's stop to standstill, at this speed and ramp
LOOK = 0.05             # s between looks at the guard
LOOK_AGAIN = 0.5        # s; a drive that turns on when contact returns has not stopped either

CAUTION = ("CAUTION: the shaft will turn slowly, and for a few seconds no computer watches it. Close the guard, "
           "keep hands away, and press START only when you are ready. The emergency stop ends it at any time.")


@dataclass(frozen=True, slots=True)
class WatchdogProof:
    """What was seen: speeds in rad/s before and after the silence, which lasted `silence` s."""

    watchdog: float
    silence: float
    speed_before: float
    speed_after: float
    speed_later: float
    said: str               # what the drive gives as the reason, where it gives one

    @property
    def has_stopped(self) -> bool:
        """Whether the drive stopped the shaft by itself, and left it at rest when contact returned."""
        return (abs(self.speed_before) > SPEED / 2 and abs(self.speed_after) < AT_REST
                and abs(self.speed_later) < AT_REST)

    def sentence(self) -> str:
        """Return the result for people."""
        told = (f"watchdog {self.watchdog:g} s: {_rpm(self.speed_before):.0f} r/min before "
                f"{self.silence:.1f} s of silence, {_rpm(self.speed_after):.0f} r/min after it")
        told += f" ({self.said})" if self.said else ""
        if self.has_stopped:
            return f"{told}. The drive stops by itself when contact is lost."
        return (f"{told}, {_rpm(self.speed_later):.0f} r/min later. THE DRIVE DOES NOT STOP BY ITSELF: "
                "set its watchdog and its reaction to loss of contact, and do not use the bench until this passes.")


def prove_watchdog(bench: Bench, clock: Clock, invite: Callable[[], None]) -> WatchdogProof:
    """Turn the shaft slowly, go silent for longer than the watchdog, and look at the shaft again.

    `invite` is called once START is awaited: it tells a person, or presses START of a simulated bench. Nothing
    moves before the guard is closed and START was pressed. The drive is stopped on every way out.

    Raises
    ------
    BenchNotFitError
        The bench is not fit, the guard is open, or START was not pressed in time.
    StoppedError
        Guard, emergency stop or START changed meanwhile: then it was not the watchdog that stopped the shaft.
    BenchError
        The shaft did not reach its slow speed, or the drive does not answer.
    """
    bench.require_fit(clock, SPEED)
    require_closed(bench.guard)
    try:
        _await_start(bench, clock, invite)
        bench.drive.clear()
        bench.drive.enable()
        bench.drive.spin(SPEED, RAMP)
        _await(bench.drive.is_settled, clock, SETTLING,
               lambda: _not_turning(bench.drive.speed()))
        proof = _silence(bench, clock)
        bench.drive.clear()
        return proof
    finally:
        try:
            bench.stop_drive()
        finally:
            bench.guard.disarm()


def _silence(bench: Bench, clock: Clock) -> WatchdogProof:
    watchdog = bench.file.drive_limits.watchdog
    silence = LATE * watchdog + COMING_TO_REST
    before = bench.drive.speed()
    end = clock.monotonic() + silence
    while clock.monotonic() < end:  # the connection stays open: a drive that only minds a closed one must not pass
        _require_undisturbed(bench)
        clock.pause(LOOK)
    after, said = _speed_again(bench), bench.drive.trip()
    clock.pause(LOOK_AGAIN)
    later = bench.drive.speed()
    _require_undisturbed(bench)
    return WatchdogProof(watchdog, silence, before, after, later, said or "")


def _require_undisturbed(bench: Bench) -> None:
    guard = bench.guard
    if not (guard.is_closed() and guard.is_started() and guard.is_emergency_stop_healthy()):
        raise StoppedError("the proof was broken off", where="guard", expected="guard closed and START given",
                           got="guard or emergency stop opened",
                           remedy="Close the guard, start the proof again and press START.")


def _speed_again(bench: Bench) -> float:
    try:
        return bench.drive.speed()
    except BenchError:      # a drive may close the connection as well; the next exchange opens it afresh
        return bench.drive.speed()


def _await_start(bench: Bench, clock: Clock, invite: Callable[[], None]) -> None:
    bench.guard.arm()
    invite()
    _await(bench.guard.is_started, clock, START_WAIT,
           lambda: BenchNotFitError("START was not pressed", where="guard", expected=f"START within {START_WAIT:g} s",
                                    got="nothing", remedy="Start the proof again and press START."))


def _await(is_reached: Callable[[], bool], clock: Clock, seconds: float, error: Callable[[], BenchError]) -> None:
    end = clock.monotonic() + seconds
    while not is_reached():
        if clock.monotonic() > end:
            raise error()
        clock.pause(POLL)


def _rpm(speed: float) -> float:
    return from_si(speed, "rpm") + 0.0      # no minus before a rounded zero


def _not_turning(speed: float) -> BenchError:
    return BenchError("the shaft does not reach its slow speed", where="drive",
                      expected=f"{_rpm(SPEED):.0f} r/min", got=f"{_rpm(speed):.0f} r/min",
                      remedy="Look for a blocked shaft, an open guard or a trip.")
