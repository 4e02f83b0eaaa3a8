"""Gauge studies against published ones."""

import numpy as np
import pytest

from station.study.anova import variance_ratio
from station.study.gauge import gauge_study

# AIAG Measurement Systems Analysis, example of ten parts, three appraisers, three trials; as five independent public
# copies have it. A variant goes about in which the last trial of part 1 by C is 0.75; it does not give these figures.
_AIAG = """
  .29   .41   .64   .08   .25   .07   .04  -.11  -.15
 -.56  -.68  -.58  -.47 -1.22  -.68 -1.38 -1.13  -.96
 1.34  1.17  1.27  1.19   .94  1.34   .88  1.09   .67
  .47   .50   .64   .01  1.03   .20   .14   .20   .11
 -.80  -.92  -.84  -.56 -1.20 -1.28 -1.46 -1.07 -1.45
  .02  -.11  -.21  -.20   .22   .06  -.29  -.67  -.49
  .59   .75   .66   .47   .55   .83   .02   .01   .21
 -.31  -.20  -.17  -.63   .08  -.34  -.46  -.56  -.49
 2.26  1.99  2.01  1.80  2.12  2.19  1.77  1.45  1.87
-1.36 -1.25 -1.31 -1.68 -1.62 -1.50 -1.49 -1.77 -2.16
"""
AIAG = np.array(_AIAG.split(), float).reshape(10, 3, 3)

# Houf and Berman (1988), as in Montgomery, Design and Analysis of Experiments: twenty parts, three operators, two
# measurements each; data from memory, which the published sums of squares confirm to every digit.
_HOUF_BERMAN = """
21 20 20 20 19 21  24 23 24 24 23 24  20 21 19 21 20 22  27 27 28 26 27 28  19 18 19 18 18 21
23 21 24 21 23 22  22 21 22 24 22 20  19 17 18 20 19 18  24 23 25 23 24 24  25 23 26 25 24 25
21 20 20 20 21 20  18 19 17 19 18 19  23 25 25 25 25 25  24 24 23 25 24 25  29 30 30 28 31 30
26 26 25 26 25 27  20 20 19 20 20 20  19 21 19 19 21 23  25 26 25 24 25 25  19 19 18 17 19 17
"""
HOUF_BERMAN = np.array(_HOUF_BERMAN.split(), float).reshape(20, 3, 2)


def test_aiag_table():
    """Sums of squares, degrees of freedom and F of the published table, to the digits that are printed."""
    table = gauge_study(AIAG).anova
    sources = (table.part, table.operator, table.interaction, table.repeatability, table.total)
    assert [round(s.ss, 4) for s in sources] == [88.3619, 3.1673, 0.3590, 2.7589, 94.6471]
    assert [s.dof for s in sources] == [9, 2, 18, 60, 89]
    assert [round(s.ms, 5) for s in sources[:4]] == [9.81799, 1.58363, 0.01994, 0.04598]
    interaction = variance_ratio(table.interaction, table.repeatability)
    assert (interaction.f, interaction.p) == (pytest.approx(0.434, abs=5e-4), pytest.approx(0.974, abs=5e-4))


def test_aiag_components_with_the_interaction_pooled():
    study = gauge_study(AIAG)
    assert study.pooled
    assert (study.error.dof, study.error.ms) == (78, pytest.approx(0.03997, abs=5e-6))
    assert study.ratios.part.f == pytest.approx(245.61, abs=5e-3)
    assert study.ratios.operator.f == pytest.approx(39.62, abs=5e-3)
    assert study.repeatability.sd == pytest.approx(0.199933, abs=5e-7)
    assert study.operator.sd == pytest.approx(0.226838, abs=5e-7)
    assert study.interaction.sd == 0
    assert study.gauge.sd == pytest.approx(0.302373, abs=2e-6)     # printed as the root of rounded variances
    assert study.part.sd == pytest.approx(1.042327, abs=5e-7)
    assert study.total.sd == pytest.approx(1.085, abs=5e-4)
    shares = [100 * c.variance / study.total.variance
              for c in (study.repeatability, study.operator, study.gauge, study.part)]
    assert shares == pytest.approx([3.39, 4.37, 7.76, 92.24], abs=5e-3)
    assert study.of_total == pytest.approx(27.86, abs=0.01)
    assert (study.ndc, round(study.categories, 3)) == (4, 4.861)
    assert study.of_tolerance is None
    assert study.word == "conditional"


def test_aiag_components_with_the_interaction_kept():
    study = gauge_study(AIAG, pool_above=1.0)
    assert not study.pooled
    assert study.repeatability.sd == pytest.approx(0.214435, abs=5e-7)
    assert study.gauge.sd == pytest.approx(0.313217, abs=5e-7)
    assert study.categories == pytest.approx(4.70, abs=5e-3)
    assert (study.ratios.part.f, study.ratios.operator.f) == (pytest.approx(492.29, abs=5e-3),
                                                              pytest.approx(79.41, abs=5e-3))


def test_houf_and_berman():
    """The table and the components of the reduced model as Montgomery prints them; limits 5 and 60."""
    study = gauge_study(HOUF_BERMAN, 5.0, 60.0)
    table = study.anova
    assert [round(s.ss, 3) for s in (table.part, table.operator, table.interaction, table.repeatability, table.total)
            ] == [1185.425, 2.617, 27.050, 59.500, 1274.592]
    assert study.ratios.interaction.f == pytest.approx(0.72, abs=5e-3)
    assert study.pooled
    assert study.error.ms == pytest.approx(0.8832, abs=5e-5)
    assert study.operator.variance == pytest.approx(0.0106, abs=5e-5)
    assert study.part.variance == pytest.approx(10.2513, abs=5e-5)
    assert study.gauge.variance == pytest.approx(0.8938, abs=5e-5)
    assert study.of_tolerance.percent == pytest.approx(10.3, abs=0.05)
