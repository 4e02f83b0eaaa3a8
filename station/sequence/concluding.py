"""The conclusion of a run, drawn and written down while the shaft still comes to rest."""

from collections.abc import Sequence as Ordered
from dataclasses import dataclass

from station.analysis.result import CaptureAnalysis
from station.judgement.conclusion import Conclusion, Measured, conclude
from station.judgement.limit_file import LimitFile
from station.record.record import Fragment, fragment
from station.record.written import written_plot, written_row


@dataclass(frozen=True, slots=True)
class Concluded:
    """A conclusion, what it was drawn from, and its longest parts as the record holds them."""

    analyses: tuple[CaptureAnalysis, ...]
    measured: Measured      # at that time; values of captures may be among them or not
    conclusion: Conclusion
    judged: tuple[Fragment, ...]
    plots: tuple[Fragment, ...]

    def holds_for(self, analyses: Ordered[CaptureAnalysis], measured: Measured) -> bool:
        """Return whether these would come to the same: no capture and no indication has come in or changed since."""
        captured = {(name, each.label) for each in analyses for name in each.measurements}
        same = len(analyses) == len(self.analyses) and all(a is b for a, b in zip(analyses, self.analyses, strict=True))
        return same and _without(captured, measured) == _without(captured, self.measured)


def conclude_run(analyses: Ordered[CaptureAnalysis], measured: Measured, labels: Ordered[str], limits: LimitFile
                 ) -> Concluded:
    """Return what a run comes to, see `judgement.conclusion.conclude`."""
    conclusion = conclude(analyses, measured, labels, limits)
    return Concluded(tuple(analyses), measured, conclusion,
                     tuple(fragment(written_row(row)) for row in conclusion.judgement.rows),
                     tuple(fragment(written_plot(each.label, each.plot)) for each in analyses if each.plot is not None))


def _without(keys: set[tuple[str, str]], measured: Measured) -> Measured:
    return {key: value for key, value in measured.items() if key not in keys}
