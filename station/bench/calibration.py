"""The calibration of an instrument: its certificate, and until when it holds."""

from dataclasses import dataclass

from station.clock import Date


@dataclass(frozen=True, slots=True)
class Calibration:
    """One calibration certificate; it holds until the end of the due day."""

    certificate: str
    date: Date
    due: Date

    def fault(self, today: Date) -> str | None:
        """Return why this calibration does not hold on `today`, with the remedy, or None."""
        if today > self.due:
            return (f"calibration {self.certificate} ran out on {self.due.isoformat()}. "
                    "Have the instrument calibrated and enter the new certificate in the bench file.")
        if today < self.date:
            return (f"calibration {self.certificate} is dated {self.date.isoformat()}, after today. "
                    "Check the computer's date and the bench file.")
        return None
