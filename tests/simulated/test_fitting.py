"""station.simulated.fitting: a motor never sits twice in the same way, and stays as it is while nobody touches it."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from station.clock import Clock
from station.simulated.fitting import CONTACT, PROBE, RUNOUT, draw_fitting
from station.simulated.lot import demo_lot_path, load_lot
from station.simulated.rig import Rig

LOT = load_lot(demo_lot_path())
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
SERIAL = "CP40-0001"


def rig(seed=1, start=NOON):
    made = Rig(LOT, seed, 10.0, Clock(lambda: start, lambda: 0.0, lambda _: None))
    made.place(SERIAL)
    return made


def look(bench):
    return (*(bench.pair_resistance(pair, 0.0) for pair in ("ab", "bc", "ca")), bench.temperature("winding"))


def refit(bench, serial=SERIAL):
    bench.open_guard()
    bench.place(serial)
    bench.close_guard()
    return look(bench)


def test_putting_it_in_again_changes_what_the_fixture_adds_a_little():
    bench = rig()
    seen = np.array([look(bench), *(refit(bench) for _ in range(60))])
    assert len(np.unique(seen[:, 0])) == len(np.unique(seen[:, 3])) == 61
    spread = seen.std(axis=0)
    assert spread[:3] == pytest.approx(CONTACT * np.sqrt(2 * (1 - 2 / np.pi)), rel=0.35)   # two half-normal contacts
    assert spread[3] == pytest.approx(PROBE, rel=0.3)


def test_an_untouched_motor_stays_as_it_is():
    bench = rig()
    first = look(bench)
    bench.place(SERIAL)                     # scanned again behind a closed guard
    assert look(bench) == first
    bench.open_guard()
    bench.close_guard()
    bench.place(SERIAL)                     # a hand was inside
    assert look(bench) != first


def test_another_motor_in_between_is_a_refit():
    bench = rig()
    first = look(bench)
    bench.place("CP40-0003")
    bench.place(SERIAL)
    assert look(bench) != first


def test_the_same_seed_gives_the_same_fittings_but_not_when_started_again_later():
    assert [refit(bench) for bench in (rig(),) for _ in range(3)] == [refit(bench) for bench in (rig(),)
                                                                      for _ in range(3)]
    assert look(rig(1)) != look(rig(2))
    assert look(rig(1)) != look(rig(1, NOON + timedelta(seconds=5)))


def test_contacts_add_and_the_coupling_runs_out():
    one = draw_fitting(np.random.default_rng(3))
    assert min(one.contacts) > 0
    assert one.pair_resistance(2) == one.contacts[2] + one.contacts[0]
    runouts = [draw_fitting(random).runout for random in (np.random.default_rng(k) for k in range(400))]
    assert np.sqrt(np.mean(np.square(runouts))) == pytest.approx(RUNOUT, rel=0.15)
    bench = rig()
    ripples = {ripple for _ in range(3) if refit(bench) for ripple in bench.shaft.motion().ripples if ripple.order == 1}
    assert len(ripples) == 1 + 3            # that of the drive, and one of each fitting


def test_cogging_is_the_motor_s_own_and_turns_with_its_rotor():
    """At every rotor angle the shaft is as far ahead or behind after a refit as before."""
    bench, ways = rig(), []
    for _ in range(3):
        refit(bench)
        cogging = next(ripple for ripple in bench.shaft.motion().ripples if ripple.order == 24)
        ways.append(cogging.phase - 24 * bench._motor.first_angle)
    assert np.exp(1j * np.array(ways)) == pytest.approx(np.exp(1j * np.full(3, ways[0])), abs=1e-9)
