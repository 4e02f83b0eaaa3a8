"""Decision rules and risks against figures that others have published.

Where a source is given by name only, its figures stand as in public tests of risk calculations or from memory; no
standard was at hand as a whole.
"""

import numpy as np
import pytest

from station.judgement.decision_rule import Decision, acceptance, conformance_probability, guard_band, normal_quantile
from station.study.risk import Interval, Normal, global_risks

CENTRED = Interval(-1.0, 1.0)


def band(width, tolerance=CENTRED):
    return Interval(tolerance.lower + width, tolerance.upper - width)


@pytest.mark.parametrize(("probability", "factor"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33),
                                                     (0.999, 3.09)])
def test_guard_band_of_one_limit(probability, factor):
    """Source: JCGM 106:2012, table 1 (from memory)."""
    zone = acceptance(None, 10.0, 0.1, Decision("conformance", least_probability=probability))
    assert (10.0 - zone.upper) / 0.1 == pytest.approx(factor, abs=0.006)


def test_speed_meter():
    """Source: JCGM 106:2012, 8.3.3 (from memory): above 107 km/h at 2 % the limit of 100 is passed at 99.9 %."""
    rule = Decision("conformance", least_probability=0.999)
    speeding = [speed for speed in np.arange(100.0, 110.0, 0.01)
                if acceptance(100.0, None, 0.02 * speed, rule).lower <= speed]
    assert round(speeding[0]) == 107
    assert conformance_probability(speeding[0], 0.02 * speeding[0], 100.0, None) == pytest.approx(0.999, abs=1e-5)


@pytest.mark.parametrize(("share", "consumer", "producer"), [
    (0.0, 0.0189, 0.0372), (0.5, 0.0043, 0.1147), (1.0, 0.0005, 0.2477), (-1.0, 0.0694, 0.0007)])
def test_resistor(share, consumer, producer):
    """1500 ohm within 0.2 ohm, made with 0.12 and measured with 0.04 ohm, guard band over U.

    Source: the example of JCGM 106:2012, 9.5 (inputs from memory); figures of a second program, to all digits.
    """
    tolerance = Interval(1499.8, 1500.2)
    risks = global_risks(Normal(1500.0, 0.12), 0.04, tolerance, band(share * 0.08, tolerance))
    assert risks.consumer == pytest.approx(consumer, abs=5.1e-5)
    assert risks.producer == pytest.approx(producer, abs=5.1e-5)
    assert 1 - risks.conforming == pytest.approx(0.10, abs=0.005)     # "about 10 %"


@pytest.mark.parametrize(("in_tolerance", "consumer", "among_accepted"), [
    (0.60, 4.839, 8.260), (0.70, 3.922, 5.723), (0.80, 2.856, 3.632), (0.90, 1.600, 1.799), (0.95, 0.871, 0.924),
    (0.99, 0.200, 0.202)])
def test_table_of_in_tolerance_rates(in_tolerance, consumer, among_accepted):
    """In per cent, u a quarter of the spread of the process, no guard band. Source: NCSLI RP-19 (draft), by name."""
    spread = 1 / normal_quantile((1 + in_tolerance) / 2)
    risks = global_risks(Normal(0.0, spread), spread / 4, CENTRED, CENTRED)
    assert risks.conforming == pytest.approx(in_tolerance)
    assert 100 * risks.consumer == pytest.approx(consumer, abs=6e-4)
    assert 100 * risks.among_accepted == pytest.approx(among_accepted, abs=6e-4)


@pytest.mark.parametrize(("ratio", "share", "consumer", "producer"), [
    (4.0, 1.0, 0.008, 0.015), (2.0, 0.91, 0.008, 0.066)])
def test_guard_bands_of_calibration(ratio, share, consumer, producer):
    """Limits at two standard deviations of the process, by TUR and acceptance over tolerance.

    Source: Deaver, papers on guard banding of the 1990s, by name.
    """
    risks = global_risks(Normal(0.0, 0.5), 0.5 / ratio, CENTRED, band(1 - share))
    assert risks.consumer == pytest.approx(consumer, abs=5e-4)
    assert risks.producer == pytest.approx(producer, abs=5e-4)


@pytest.mark.parametrize(("ratio", "without", "worst"), [
    (1.5, 5.33, 1.91), (2.0, 4.18, 1.92), (3.0, 2.91, 1.94), (4.0, 2.24, 1.96)])
def test_two_per_cent_whatever_the_process(ratio, without, worst):
    """Largest share, in per cent, over all spreads of a centred process; source: a scan by a second program.

    ANSI/NCSL Z540.3-2006, 5.3 b) allows 2 % (from memory).
    """
    u = 1 / (2 * ratio)
    zone = acceptance(-1.0, 1.0, u, Decision("false_accept"))

    def largest(accepted):
        processes = [Normal(0.0, sd) for sd in np.geomspace(0.2, 4, 200)]
        return 100 * max(global_risks(process, u, CENTRED, accepted).consumer for process in processes)

    assert largest(CENTRED) == pytest.approx(without, abs=0.006)
    assert largest(Interval(zone.lower, zone.upper)) == pytest.approx(worst, abs=0.006)


def test_two_sided_guard_band():
    """At Cm = 1 and 95 % both limits take 0.898 of half the tolerance, and one alone would take 0.823.

    Source: solved by a second program after JCGM 106:2012, 8.3.
    """
    assert guard_band(-1.0, 1.0, 0.5, normal_quantile(0.95)) == pytest.approx(0.898, abs=5e-4)
    assert guard_band(None, 1.0, 0.5, normal_quantile(0.95)) == pytest.approx(0.822, abs=1e-3)
