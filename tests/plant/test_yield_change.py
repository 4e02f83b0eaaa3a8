"""How entries change a day's yield: the sums are those of looking at all motors anew, whatever order voids come in."""

from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from station.plant.yield_change import Change, Result, changes

RUNS = st.lists(st.tuples(st.sampled_from("AB"), st.sampled_from(["2026-11-25", "2026-11-26"]), st.booleans()),
                min_size=1, max_size=8)


def counted(motors):
    """Count as `find.count_yield` says it: first and last run of each motor, on the day of the first."""
    sums = Counter()
    for runs in motors.values():
        if runs:
            in_order = [runs[number] for number in sorted(runs)]
            first, last = in_order[0], in_order[-1]
            sums += Counter({(first.day, "motors"): 1, (first.day, "first"): first.passed,
                             (first.day, "last"): last.passed})
    return sums


@given(RUNS, st.data())
def test_sums_of_changes_are_the_yield(drawn, data):
    motors, sums = {"A": {}, "B": {}}, Counter()
    for number, (serial, day, passed) in enumerate(drawn, start=1):
        change(motors[serial], sums, number, Result(number, day, "CP-40", passed))
    for serial in "AB":
        for number in data.draw(st.permutations(sorted(motors[serial]))):
            if data.draw(st.booleans()):
                change(motors[serial], sums, number, None)
                assert +sums == counted(motors)
    assert +sums == counted(motors)


def change(runs, sums, number, result):
    before = list(runs.values())
    if result:
        runs[number] = result
    else:
        del runs[number]
    for one in changes(before, runs.values()):
        sums.update({(one.day, "motors"): one.motors, (one.day, "first"): one.passed_first,
                     (one.day, "last"): one.passed_last})


def test_a_second_run_changes_the_last_and_never_the_first():
    first, second = Result(1, "2026-11-25", "CP-40", passed=False), Result(2, "2026-11-26", "CP-40", passed=True)
    assert changes([], [first]) == [Change("2026-11-25", "CP-40", 1, 0, 0)]
    assert changes([first], [first, second]) == [Change("2026-11-25", "CP-40", 0, 0, 1)]
    assert changes([first, second], [second]) == [Change("2026-11-25", "CP-40", -1, 0, -1),
                                                  Change("2026-11-26", "CP-40", 1, 1, 1)]
    assert changes([first, second], [second, first]) == []
