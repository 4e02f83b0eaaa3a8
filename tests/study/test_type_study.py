"""station.study.type_study, characteristic_study and weakness: populations whose weakness was put in are told so."""

import json

import numpy as np
import pytest
from drawn_population import population_of, sample_of
from drawn_records import limit_line, limits_of

from station.study.characteristic_study import study
from station.study.type_study import about_all, as_json, study_type
from station.study.weakness import Weight

LIMITS = limits_of([limit_line("hall_placement", -4.0, 4.0)])
LOTS = np.repeat([0, 1, 2], 60)


def drawn(seed=1, n=180, s=0.5):
    return np.random.default_rng(seed).normal(0, s, n)


def only_row(sample, **more):
    (row,) = study_type(population_of(sample, **more), LIMITS).rows
    return row


def words(row):
    return "\n".join(remark.text for remark in row.remarks)


def test_a_good_process_has_nothing_weak():
    row = only_row(sample_of("hall_placement.b@forward 1000", drawn(), lower=-4, upper=4), lots=LOTS)
    assert row.weight is Weight.NOTE
    assert row.study.index.value == row.study.capability.ppk.value > 2
    assert row.study.measuring == pytest.approx(0.01**2 / np.var(drawn(), ddof=1))
    low, high = row.study.holds
    assert -4 < low < -1.3 < 1.3 < high < 4


def test_a_wide_process_is_weak_and_stands_first():
    good = sample_of("hall_placement.a@forward 1000", drawn(2), lower=-4, upper=4)
    wide = sample_of("hall_placement.b@forward 1000", drawn(3, s=2.5), lower=-4, upper=4)
    whole = study_type(population_of(good, wide, lots=LOTS), LIMITS)
    assert [row.study.sample.key for row in whole.rows] == [wide.key, good.key]
    assert "wider than its tolerance" in words(whole.rows[0])
    assert "outside the tolerance: " in words(whole.rows[0])
    assert f"Weak: {wide.key}." in about_all(whole)


def test_a_mean_off_the_middle_is_told_with_its_amount():
    row = only_row(sample_of("hall_placement.b@forward 1000", drawn() + 2.6, lower=-4, upper=4), lots=LOTS)
    assert row.study.capability.pp.value > 2
    assert "off the middle" in words(row)
    assert f"{np.mean(drawn()) + 2.6:.4g} °" in words(row)


def test_lots_that_differ_are_told_and_explain_the_heaps():
    values = drawn(s=0.3) + np.array([0.0, 0.0, 2.2])[LOTS]
    row = only_row(sample_of("hall_placement.b@forward 1000", values, lower=-3, upper=3), lots=LOTS)
    assert row.told.lots
    assert row.study.capability.cpk.value > 1.5 * row.study.capability.ppk.value
    assert "lots differ" in words(row)
    assert "within a lot the process is capable" in words(row)
    assert "the lots explain it" in words(row)


def test_a_mixture_inside_every_lot_is_not_put_on_the_lots():
    values = drawn(s=0.2) + np.where(np.arange(180) % 3 == 0, 2.0, 0.0)
    row = only_row(sample_of("hall_placement.b@forward 1000", values, lower=-4, upper=4), lots=LOTS)
    assert not row.told.lots
    assert "two causes are mixed that are not the lots" in words(row)


def test_stations_that_differ_are_told():
    stations = np.arange(180) % 2
    row = only_row(sample_of("hall_placement.b@forward 1000", drawn(s=0.3) + stations, lower=-4, upper=4), lots=LOTS,
                   stations=stations)
    assert row.told.stations
    assert not row.told.lots
    assert "stations differ" in words(row)


def test_the_lot_that_drifts_is_named():
    values = drawn(s=0.4)
    values[LOTS == 1] += np.linspace(0, 1.6, 60)
    whole = study_type(population_of(sample_of("hall_placement.b@forward 1000", values, lower=-4, upper=4),
                                     sample_of("hall_placement.a@forward 1000", drawn(5)), lots=LOTS), LIMITS)
    assert dict(whole.drifting_lots) == {"K02": ["hall_placement.b@forward 1000"]}
    assert "lot K02 drifts by" in words(whole.rows[0])
    assert any(line.startswith("Lot K02 drifts") for line in about_all(whole))


def test_nothing_is_told_of_lots_that_do_not_differ():
    """Many characteristics without any difference: hardly one may be called different."""
    samples = [sample_of(f"hall_placement.{sensor}@forward {speed}", drawn(seed=speed + ord(sensor)), lower=-4, upper=4)
               for sensor in "abc" for speed in range(100, 800, 50)]
    whole = study_type(population_of(*samples, lots=LOTS, stations=np.arange(180) % 2), LIMITS)
    assert sum(row.told.lots or row.told.stations or bool(row.told.drifts) for row in whole.rows) <= 1


def test_defects_are_named_with_what_they_cost():
    values = drawn(s=0.3)
    values[[10, 77]] = 9.0, -8.0
    row = only_row(sample_of("hall_placement.b@forward 1000", values, lower=-4, upper=4), lots=LOTS)
    assert row.study.far == ("CP40-0010", "CP40-0077")
    assert row.study.far_share > 0.8
    assert "CP40-0010, CP40-0077" in words(row)
    assert row.study.beyond.count == 2


def test_a_process_that_only_defects_make_wide_is_not_called_weak():
    values = drawn(s=0.3)
    values[[10, 77]] = 30.0, -40.0
    row = only_row(sample_of("hall_placement.b@forward 1000", values, lower=-4, upper=4), lots=LOTS)
    assert row.study.index.value < 1
    assert row.study.usual_index.value > 4
    assert row.study.usual_beyond == 0
    assert row.weight is Weight.LOOK
    assert "defects rather than the process" in words(row)
    assert "is made by the motors far outside; without them" in words(row)


def test_a_heap_outside_the_tolerance_stays_weak_beside_a_defect():
    values = drawn(s=0.3)
    values[10], values[::9] = 30.0, values[::9] + 5.0
    row = only_row(sample_of("hall_placement.b@forward 1000", values, lower=-4, upper=4), lots=LOTS)
    assert row.study.usual_beyond >= 20
    assert row.weight is Weight.WEAK


def test_form_weighs_nothing_where_there_is_room_to_spare():
    blurred = only_row(sample_of("hall_placement.b@forward 1000", drawn(s=0.3), lower=-40, upper=40, u=0.2), lots=LOTS)
    assert "uncertainty of measuring" in words(blurred)
    assert blurred.weight is Weight.NOTE


def test_measuring_that_blurs_is_weak():
    row = only_row(sample_of("hall_placement.b@forward 1000", drawn(s=0.3), lower=-1.2, upper=1.2, u=0.2), lots=LOTS)
    assert row.weight is Weight.WEAK
    assert "uncertainty of measuring" in words(row)
    assert row.study.true_s < 0.3


def test_a_magnitude_has_a_fit_and_no_normal_index():
    values = np.abs(np.random.default_rng(7).normal(0, 0.4, 180))
    row = only_row(sample_of("back_emf_unbalance@forward 1000", values, upper=2.0), lots=LOTS)
    assert row.study.capability is None
    assert row.study.holds is None
    assert row.study.fit.family == "half-normal"
    assert row.study.index.value == pytest.approx((2 - 0.6745 * 0.4) / (3.2 * 0.4 - 0.6745 * 0.4), rel=0.15)


def test_a_magnitude_is_not_taken_for_two_heaps():
    values = np.abs(np.random.default_rng(1).normal(0, 0.4, 2000))
    assert only_row(sample_of("back_emf_unbalance@forward 1000", values, upper=2.0)).study.heaps is None


def test_one_limit_gives_one_sided_ends():
    high = study(*_alone(sample_of("hall_high.a@forward 1000", drawn() + 5, lower=3.0)))
    assert high.capability.cp is None
    assert high.capability.ppk.value > 1
    assert high.holds[1] is None
    assert high.holds[0] < 5


def test_a_count_is_a_proportion():
    values = np.zeros(180)
    values[3] = 2
    row = only_row(sample_of("hall_bounce@forward 1000", values, upper=0.0), lots=LOTS)
    assert row.study.index is None
    assert row.study.beyond.share.value == pytest.approx(1 / 180)
    assert row.weight is Weight.WEAK
    none = only_row(sample_of("hall_bounce@forward 1000", np.zeros(180), upper=0.0), lots=LOTS)
    assert "up to 2 %" in words(none)


def test_few_values_have_no_index_and_few_motors_a_warning():
    few = only_row(sample_of("hall_placement.b@forward 1000", drawn(n=24), lower=-4, upper=4))
    assert few.study.index is None
    assert few.study.shape is not None
    assert "no index below 25" in words(few)
    some = only_row(sample_of("hall_placement.b@forward 1000", drawn(n=60), lower=-4, upper=4))
    assert some.study.index is not None
    assert "only 60 motors" in words(some)


def test_what_is_missing_is_told():
    row = only_row(sample_of("hall_placement.b@forward 1000", drawn(n=170), lower=-4, upper=4,
                             absent={"capture refused": 7, "not run": 3}))
    assert "no value of 10 motors (7 capture refused, 3 not run)" in words(row)


def test_equal_values_are_no_crash():
    row = only_row(sample_of("hall_low.a@forward 1000", np.full(100, 0.1), upper=0.5))
    assert row.study.index is None
    assert row.weight is Weight.NOTE


def test_what_moves_together_is_named():
    cause = drawn()
    whole = study_type(population_of(
        sample_of("hall_placement.b@forward 1000", cause), sample_of("hall_duty.b@forward 1000", 50 + cause * 0.2),
        sample_of("drag_torque@forward 1000", drawn(9)), sample_of("hall_bounce@forward 1000", np.zeros(180)),
        lots=LOTS), LIMITS)
    assert {whole.pairs[0].first, whole.pairs[0].second} == {"hall_placement.b@forward 1000",
                                                             "hall_duty.b@forward 1000"}
    assert whole.pairs[0].r.value == pytest.approx(1)
    assert "hall_bounce@forward 1000" not in whole.correlation.keys


def test_json_has_no_number_that_json_has_not():
    whole = study_type(population_of(
        sample_of("hall_placement.b@forward 1000", drawn(), lower=-4, upper=4),
        sample_of("thd.ab@forward 1000", np.abs(drawn()) + 0.1, upper=6),
        sample_of("hall_low.a@forward 1000", np.full(180, 0.1), upper=0.5), lots=LOTS, passed=170), LIMITS)
    said = json.loads(json.dumps(as_json(whole), allow_nan=False))
    assert said["limit_file"]["sha256"] == LIMITS.sha256
    assert said["logs"] == [{"origin": "eol-1", "size": 180, "root": "0" * 64}]
    assert said["first_pass_yield"]["value"] == pytest.approx(170 / 180)
    assert [one["key"] for one in said["characteristics"]] == [row.study.sample.key for row in whole.rows]
    assert said["correlation"]["r"][0][0] == pytest.approx(1)


def _alone(sample):
    return population_of(sample, lots=LOTS), sample
