"""The numbers of a drift chart: one series a motor, characteristic and capture, oldest first."""

from station.sequence.reference_history import drift


def made(number, bench, **values):
    """A check of one motor that compared `values` by name, in one capture."""
    rows = [{"name": name, "label": "forward 1000", "unit": "%", "value": value, "u": 0.1, "expected": 1.0,
             "expected_u": 0.1, "tolerance": 0.5, "normalised_error": 0.0, "result": "GOOD"}
            for name, value in values.items()]
    return {"check": number, "motor_type": "CP-40", "bench_sha256": bench, "done": "",
            "motors": [{"serial": "R1", "started": f"2026-11-2{number}T06:00:00.000Z", "compared": rows},
                       {"serial": "R2", "started": f"2026-11-2{number}T06:01:00.000Z", "compared": rows[:1]}]}


CHECKS = [made(1, "a", thd=1.0, hall_low=0.1), made(2, "b", thd=None, hall_low=0.2)]


def test_points_are_in_order_and_a_gap_stays_a_gap():
    thd, low, second = drift(CHECKS)
    assert [(s["serial"], s["name"]) for s in (thd, low, second)] == [("R1", "thd"), ("R1", "hall_low"), ("R2", "thd")]
    assert [point["value"] for point in thd["points"]] == [1.0, None]
    assert [point["bench_sha256"] for point in low["points"]] == ["a", "b"]
    assert [point["started"][8:10] for point in low["points"]] == ["21", "22"]


def test_choosing():
    assert [s["serial"] for s in drift(CHECKS, "R2")] == ["R2"]
    assert [s["serial"] for s in drift(CHECKS, name="thd")] == ["R1", "R2"]
    assert drift(CHECKS, "R2", "hall_low") == []
    assert drift([]) == []
