"""Signatures of single poles: weak, reversed or missing magnets, and a rotor that runs out of centre."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from station.analysis.suspicion import Suspicion
from station.measurement import Finding, Measurement
from station.motor import LINES

Measurements = Mapping[str, Measurement]

POLE_SPREAD = 5.0             # %, half-cycle gains of a sound motor lie closer; common practice, no source
REVERSED_POLE_SPREAD = 18.0   # %
LEAST_OF_LOSS = 0.15
# With a limit failed: between half cycles of a sound motor, so that more speaks of single poles
SOUND_SPREAD = 1.0            # %


@dataclass(frozen=True, slots=True)
class PoleEvidence:
    """What speaks of single poles."""

    spread: float | None          # %, the largest of the three lines
    is_reversed: bool             # six edges less in a revolution
    wobble: bool                  # edges of all sensors move once per revolution
    emf_low: bool                 # all lines have too little back-EMF
    deficit: float                # %, of the back-EMF below the middle of its limits; nan if unknown
    suspicion: Suspicion

    @property
    def accounts_for_the_loss(self) -> bool:
        """Whether poles differ by as much as one weak pole would make them, which takes so much of the flux.

        A tenth less of one pole in eight to ten costs 1.0 to 1.25 % and makes 0.8 to 1.7 % between half cycles
        (windings of 9 and 12 slots; a simple tooth-flux model, derived). A seventh of the loss is well below that.
        """
        spread = self.spread or 0.0
        return self.emf_low and spread > SOUND_SPREAD and not spread < LEAST_OF_LOSS * self.deficit


def spread_of(measurements: Measurements) -> float | None:
    """Return the largest difference between half cycles in a revolution, %."""
    return max((each.value for line in LINES if (each := measurements.get(f"pole_spread.{line}")) is not None),
               default=None)


def pole_causes(evidence: PoleEvidence) -> Iterator[Finding]:
    """Yield what makes the poles differ; a reversed magnet that the edges show is named by them."""
    spread = evidence.spread
    if spread is None or evidence.is_reversed:
        return
    failed = evidence.suspicion.any("pole_spread", unjudged=spread > POLE_SPREAD)
    told = evidence.suspicion.is_judged and evidence.accounts_for_the_loss
    if not (failed or told) or (evidence.wobble and not evidence.emf_low):
        return
    if spread > REVERSED_POLE_SPREAD:
        yield Finding("reversed_magnet", f"Half cycles differ by {spread:.0f} % within a revolution: a magnet is "
                      "reversed or missing. The edges of the Hall sensors, six fewer, are the sure sign.")
        return
    low, also = (" and all lines have too little back-EMF", ", all poles are weak and unlike besides,") if (
        evidence.emf_low) else ("", ",")
    yield Finding("weak_pole", f"Half cycles differ by {spread:.2g} % within a revolution{low}: one pole is weak{also} "
                  "or the rotor runs out of centre. Windings in series average a weak pole out, so its size cannot be "
                  "told from this; a field probe around the rotor tells.")
