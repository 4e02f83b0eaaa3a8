"""The calibration of an instrument: its certificate, until when it holds, and a written extension of that."""

from dataclasses import dataclass
from typing import Literal

from station.clock import Date

REMEDY = "Have the instrument calibrated and enter the new certificate in the bench file."


@dataclass(frozen=True, slots=True)
class Extension:
    """A written extension of a calibration: who answers for it, why, and its last day."""

    person: str
    reason: str
    until: Date


@dataclass(frozen=True, slots=True)
class CalibrationFault:
    """Why a calibration does not hold today: dated after it, run out, or its extension run out as well.

    `day` is that of the certificate, or the last one on which it held by itself.
    """

    code: Literal["calibration_ahead", "calibration_out", "calibration_extended"]
    certificate: str
    day: Date
    extension: Extension | None = None

    def __str__(self) -> str:
        """In one or two sentences, the remedy among them."""
        day = self.day.isoformat()
        if self.code == "calibration_ahead":
            return (f"calibration {self.certificate} is dated {day}, after today. Check the computer's date and the "
                    "bench file.")
        if self.extension is None:
            return f"calibration {self.certificate} ran out on {day}. {REMEDY}"
        return (f"calibration {self.certificate} ran out on {day}, and its extension by {self.extension.person} on "
                f"{self.extension.until.isoformat()}. {REMEDY}")


@dataclass(frozen=True, slots=True)
class Calibration:
    """One calibration certificate; it holds until the end of the due day, or of its extension's last day."""

    certificate: str
    date: Date
    due: Date
    extension: Extension | None = None

    @property
    def until(self) -> Date:
        """The last day on which it holds."""
        return max(self.due, self.extension.until) if self.extension else self.due

    def fault(self, today: Date) -> CalibrationFault | None:
        """Return why this calibration does not hold on `today`, or None."""
        if today < self.date:
            return CalibrationFault("calibration_ahead", self.certificate, self.date)
        if today <= self.due:
            return None
        if self.extension is None:
            return CalibrationFault("calibration_out", self.certificate, self.due)
        if today > self.extension.until:
            return CalibrationFault("calibration_extended", self.certificate, self.due, self.extension)
        return None
