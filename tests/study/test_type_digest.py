"""station.study.type_digest: what is shown of a study agrees with the study itself, and with the decision rule."""

import pickle
import subprocess
import sys

import numpy as np
import pytest
from drawn_population import population_of, sample_of
from drawn_records import limit_line, limits_of

from station.judgement.decision_rule import acceptance
from station.study.type_digest import accepted, digest_of
from station.study.type_study import as_json, study_type

KEY = "hall_placement.b@forward 1000"
LIMITS = limits_of([limit_line("hall_placement", -4.0, 4.0), limit_line("hall_placement.b", -3.0, 5.0),
                    limit_line("thd", None, 6.0, "%")])


@pytest.fixture(scope="module")
def study():
    random = np.random.default_rng(3)
    return study_type(population_of(sample_of(KEY, random.normal(0, 0.5, 80), lower=-3, upper=4, u=0.1),
                                    sample_of("thd.ab@forward 1000", random.gamma(4, 0.4, 80), upper=6.0, u=0.05),
                                    passed=77), LIMITS)


def test_nothing_of_the_study_is_lost_on_the_way_to_another_process(study):
    digest = pickle.loads(pickle.dumps(digest_of(study)))
    assert digest.said == as_json(study)
    assert digest.passed.sum() == 77
    assert list(digest.values) == [row.study.sample.key for row in study.rows]
    assert np.array_equal(digest.values[KEY].values, study.population.samples[0].values)
    assert digest.told(KEY)["n"] == 80
    with pytest.raises(KeyError):
        digest.told("hall_placement.b@reverse 1000")


def test_acceptance_limits_are_the_narrowest_of_all_that_cover_a_value(study):
    wide, narrow = (acceptance(low, high, 0.1, LIMITS.decision) for low, high in ((-4.0, 4.0), (-3.0, 5.0)))
    assert digest_of(study).values[KEY].accepted == (narrow.lower, wide.upper)
    assert accepted(LIMITS, "hall_placement.a", "forward 1000", 0.1) == (wide.lower, wide.upper)
    assert accepted(LIMITS, "thd.ab", "", 0.05) == (None, pytest.approx(6.0 - 1.65 * 0.05))
    assert accepted(LIMITS, "hall_placement.a", "", 3.0) is None    # too uncertain for anything to be accepted


@pytest.mark.parametrize(("key", "name"), [(KEY, "normal"), ("thd.ab@forward 1000", "gamma fit")])
def test_a_curve_is_a_density(study, key, name):
    one = digest_of(study).values[key]
    inside = np.trapezoid(one.curve.density, one.curve.places)
    assert 0.9 < inside < 1.0       # between the least and the largest of 80 values
    assert one.curve.name == name


def test_who_shows_a_digest_loads_no_library_of_studies():
    code = ("import sys, station.study.type_digest; "
            "print(sorted({'scipy', 'pandas', 'matplotlib'} & {name.partition('.')[0] for name in sys.modules}))")
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert said.stdout.strip() == "[]"
