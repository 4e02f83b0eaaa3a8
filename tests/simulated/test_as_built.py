"""station.simulated.as_built: units are repeatable, close to nominal when good, and carry their defects."""

import numpy as np
import pytest

from station.simulated.as_built import as_built
from station.simulated.lot import demo_lot_path, load_lot

LOT = load_lot(demo_lot_path())


def unit(serial, seed=1, **changes):
    motor = LOT.motors[serial]
    return as_built(LOT.types[motor.type].model_copy(update=changes), motor, seed)


def test_same_serial_and_seed_give_the_same_motor():
    first, again, other = unit("CP40-0001"), unit("CP40-0001"), unit("CP40-0001", seed=2)
    assert first.strength == again.strength
    assert np.array_equal(first.poles, again.poles)
    assert first.sensors == again.sensors
    assert first.strength != other.strength


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("serial", ["CP40-0001", "VB24-0001", "CP60-0001"])
def test_good_unit_is_close_to_nominal(serial, seed):
    built = LOT.types[LOT.motors[serial].type]
    good = unit(serial, seed)
    nominal = (built.sensor_rise_deg.a, built.sensor_rise_deg.b, built.sensor_rise_deg.c)
    assert good.strength == pytest.approx(1.0, abs=0.015)
    assert good.windings.gain == pytest.approx((1.0,) * 3, abs=0.003)
    assert [s.rise_deg for s in good.sensors] == pytest.approx(nominal, abs=1.01)
    assert good.windings.pair_resistances() == pytest.approx((built.line_resistance_ohm,) * 3, rel=0.016)
    assert good.insulation > 1e9


def test_units_without_spread_are_nominal():
    good = unit("CP60-0001", spread=0.0)
    assert good.strength == 1.0
    assert good.windings.pair_resistances() == pytest.approx((0.42,) * 3)


def test_defects_have_their_declared_size():
    assert unit("CP40-0002", spread=0.0).sensors[1].rise_deg == pytest.approx(129.0)
    assert unit("CP40-0004", spread=0.0).windings.gain == pytest.approx((0.9, 1.0, 1.0))
    assert unit("CP40-0004", spread=0.0).windings.pair_resistances() == pytest.approx((0.5415, 0.57, 0.5415))
    assert unit("VB24-0002").sensor_order == (0, 2, 1)
    assert unit("VB24-0003", spread=0.0).strength == pytest.approx(0.88)
    assert unit("CP60-0002").windings.leads == (1, 0, 2)
    assert unit("CP60-0003").insulation == 12e6


def test_a_reversed_coil_takes_twice_its_voltage_and_no_resistance():
    """Source: a coil of g turns in N connected backwards leaves N - 2 g (derived)."""
    built = unit("CP40-0123", spread=0.0)
    assert built.windings.gain == pytest.approx((0.9, 1.0, 1.0))
    assert built.windings.pair_resistances() == pytest.approx((0.57,) * 3)
    assert built.shorted_share == 0.0


def test_wrong_turns_change_voltage_and_resistance_of_all_phases():
    built = unit("CP40-0124", spread=0.0)
    assert built.windings.gain == pytest.approx((0.9,) * 3)
    assert built.windings.pair_resistances() == pytest.approx((0.57 * 0.81,) * 3)


def test_leads_moved_round_keep_their_order():
    assert unit("CP40-0125").windings.leads == (1, 2, 0)


def test_an_eccentric_rotor_has_poles_that_differ_once_per_revolution():
    built = unit("CP40-0128", spread=0.0)
    once = np.abs(np.fft.rfft(built.poles)) / 4
    assert once[1] == pytest.approx(0.3)
    assert once[2:] == pytest.approx(0.0, abs=1e-12)
    assert [s.eccentric_deg for s in built.sensors] == [4.0] * 3
