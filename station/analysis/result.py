"""What the analysis of one capture gives."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from station.measurement import Finding, Measurement, Refusal


@dataclass(frozen=True, slots=True)
class WavePlot:
    """The fitted waves over one electrical revolution, with the Hall high intervals beneath.

    `angle_deg` is rotor angle; `hall_high` gives (rise, fall) of each sensor in degrees.
    """

    angle_deg: tuple[float, ...]
    volts_per_krpm: Mapping[str, tuple[float, ...]]
    hall_high: Mapping[str, tuple[float, float] | None] | None = None


@dataclass(frozen=True, slots=True)
class CaptureAnalysis:
    """Measurements and findings of one capture, or the reason why there are none.

    `stitched` counts the captures that were put together for it.
    """

    label: str
    measurements: dict[str, Measurement] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    refused: Refusal | None = None
    plot: WavePlot | None = None
    stitched: int = 1
