"""The simulated drive's own state machine: what each control word does, and the status word that answers."""

from collections.abc import Callable
from typing import Protocol

VOLTAGE_PRESENT = 0x0010
REMOTE = 0x0200

# Status words without the bits that tell of more than the state. Source: IEC 61800-7-201 as makers print it.
DISABLED, READY, ON, ENABLED, QUICK, REACTION, FAULT = 0x40, 0x21, 0x23, 0x27, 0x07, 0x0F, 0x08
RAMP_THEN_OFF = (2, 1)      # quick stop options: on the quick-stop ramp, or on the slow-down ramp
COAST = 0                   # quick stop option: power off at once
RAMP_THEN_HOLD = (5, 6)     # the same two ramps, but the drive then stays in quick stop, holding the shaft


class PowerStage(Protocol):
    """What the state machine switches."""

    def may_turn(self) -> bool:
        """Return whether the safety circuit lets torque through."""
    def energise(self) -> bool:
        """Switch the power stage on at zero speed; False when it does not come on."""
    def cut(self) -> None:
        """Take the torque away; the shaft coasts."""
    def ramp_to_rest(self) -> None:
        """Bring the shaft to rest on the quick-stop ramp, then switch off."""
    def ramp_and_hold(self) -> None:
        """Bring the shaft to rest on the quick-stop ramp and hold it there."""
    def clear_trip(self) -> None:
        """Clear what tripped the power stage; it stays off."""
    def is_on(self) -> bool:
        """Return whether the power stage gives torque."""


class ProfileMachine:
    """Moves between the states on control words, on losing safe torque, and on faults."""

    def __init__(self, stage: PowerStage) -> None:
        self._stage = stage
        self._state = DISABLED
        self._last_word = 0
        self.fault_code = 0
        self.quick_stop_option = RAMP_THEN_OFF[0]

    @property
    def status(self) -> int:
        """The state's bits of the status word, with voltage and remote."""
        return self._state | VOLTAGE_PRESENT | REMOTE

    @property
    def is_enabled(self) -> bool:
        """Whether the drive follows its target."""
        return self._state == ENABLED

    def command(self, word: int) -> None:
        """Obey a control word."""
        reset = bool(word & ~self._last_word & 0x80)
        self._last_word = word
        self.look()
        if self._state in (FAULT, REACTION):
            if reset and self._state == FAULT:
                self._stage.clear_trip()
                self.fault_code, self._state = 0, DISABLED
            return
        if not word & 0x02:
            self._switch_off()
        elif not word & 0x04:
            self._quick_stop()
        else:
            self._follow(word & 0x0F)

    def look(self) -> None:
        """Notice what has happened without a word: safe torque off, and the end of a ramp to rest."""
        if self._state in (QUICK, REACTION) and not self._stage.is_on():
            self._state = DISABLED if self._state == QUICK else FAULT
        if self._state in (READY, ON, ENABLED, QUICK) and not self._stage.may_turn():
            self._switch_off()

    def fail(self, code: int, *, coast: bool) -> None:
        """Enter a fault: torque goes at once, or after a ramp to rest."""
        if self._state in (FAULT, REACTION):
            return
        self.fault_code = code
        if coast or self._state not in (ENABLED, QUICK):
            self._stage.cut()
            self._state = FAULT
        else:
            self._stage.ramp_to_rest()
            self._state = REACTION

    def quick_stop(self) -> None:
        """Stop as the quick-stop word does."""
        self._quick_stop()

    def switch_off(self) -> None:
        """Take the torque away as the word that disables voltage does."""
        self._switch_off()

    def _switch_off(self) -> None:
        self._stage.cut()
        self._state = DISABLED

    def _quick_stop(self) -> None:
        if self._state == ENABLED:
            if self.quick_stop_option == COAST:
                self._switch_off()
                return
            if self.quick_stop_option in RAMP_THEN_HOLD:
                self._stage.ramp_and_hold()
            else:
                self._stage.ramp_to_rest()
            self._state = QUICK
        elif self._state in (READY, ON):
            self._state = DISABLED

    def _follow(self, low: int) -> None:
        shutdown, switch_on, operate = not low & 0x01, low == 0x07, low == 0x0F
        steps: dict[int, Callable[[], int]] = {
            DISABLED: lambda: READY if shutdown and self._stage.may_turn() else DISABLED,
            READY: lambda: ON if switch_on or operate else READY,
            ON: lambda: READY if shutdown else self._energised() if operate else ON,
            ENABLED: lambda: self._left_operation(READY) if shutdown else
            self._left_operation(ON) if switch_on else ENABLED,
        }
        if self._state in steps:    # a quick stop is not broken off by these words
            self._state = steps[self._state]()

    def _energised(self) -> int:
        return ENABLED if self._stage.energise() else ON

    def _left_operation(self, to: int) -> int:
        self._stage.cut()
        return to
