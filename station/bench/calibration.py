"""The calibration of an instrument: its certificate, until when it holds, and a written extension of that."""

from dataclasses import dataclass

from station.clock import Date


@dataclass(frozen=True, slots=True)
class Extension:
    """A written extension of a calibration: who answers for it, why, and its last day."""

    person: str
    reason: str
    until: Date


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

    def fault(self, today: Date) -> str | None:
        """Return why this calibration does not hold on `today`, with the remedy, or None."""
        if today < self.date:
            return (f"calibration {self.certificate} is dated {self.date.isoformat()}, after today. "
                    "Check the computer's date and the bench file.")
        if today <= self.due:
            return None
        remedy = "Have the instrument calibrated and enter the new certificate in the bench file."
        if self.extension is None:
            return f"calibration {self.certificate} ran out on {self.due.isoformat()}. {remedy}"
        if today > self.extension.until:
            return (f"calibration {self.certificate} ran out on {self.due.isoformat()}, and its extension by "
                    f"{self.extension.person} on {self.extension.until.isoformat()}. {remedy}")
        return None
