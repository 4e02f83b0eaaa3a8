"""Signatures of single poles: weak, reversed or missing magnets, and a rotor that runs out of centre."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from station.analysis.suspicion import Suspicion
from station.measurement import Finding, Measurement
from station.motor import LINES

Measurements = Mapping[str, Measurement]

POLE_SPREAD = 5.0             # %, half-cycle gains of a sound motor lie closer; common practice, no source
REVERSED_POLE_SPREAD = 18.0   # %
# With a limit failed: between half cycles of a sound motor, so that more speaks of single poles
SOUND_SPREAD = 1.0            # %


@dataclass(frozen=True, slots=True)
class PoleEvidence:
    """What speaks of single poles."""

    spread: float | None          # %, the largest of the three lines
    is_reversed: bool             # six edges less in a revolution
    wobble: bool                  # edges of all sensors move once per revolution
    emf_low: bool                 # all lines have too little back-EMF
    suspicion: Suspicion


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
    # One weak pole costs all lines its share of the flux: the spread then says which of the two it is.
    told = evidence.suspicion.is_judged and evidence.emf_low and spread > SOUND_SPREAD
    if not (failed or told) or (evidence.wobble and not evidence.emf_low):
        return
    if spread > REVERSED_POLE_SPREAD:
        yield Finding("reversed_magnet", f"Half cycles differ by {spread:.0f} % within a revolution: a magnet is "
                      "reversed or missing. The edges of the Hall sensors, six fewer, are the sure sign.")
        return
    low = " and all lines have too little back-EMF" if evidence.emf_low else ""
    yield Finding("weak_pole", f"Half cycles differ by {spread:.2g} % within a revolution{low}: one pole is weak, or "
                  "the rotor runs out of centre. Windings in series average a weak pole out, so its size cannot be "
                  "told from this; a field probe around the rotor tells.")
