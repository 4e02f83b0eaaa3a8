"""station.simulated.instant_bench: shows what the motor is, within the errors that the instruments are allowed."""

import numpy as np
import pytest

from station.simulated import instant_bench as bench
from station.simulated.front_end import COMMON_GAIN, GAIN, OFFSET
from station.simulated.instant_bench import InstantBench, Turn
from station.simulated.lot import demo_lot_path, load_lot
from station.simulated.motor import build_motor

LOT = load_lot(demo_lot_path())
SPEED = 100.0                   # rad/s: 955 r/min
TURNS = [Turn("forward", SPEED, 20.0, 1e-4, 5000), Turn("reverse", -SPEED, 20.0, 1e-4, 5000)]
SUPPLY = 5.0


def motor_of(serial="CP40-0001"):
    return build_motor(LOT, serial, 1, 23.0)


def show(serial="CP40-0001", seed=3):
    one = InstantBench(np.random.default_rng(seed))
    return one.show(motor_of(serial), TURNS, one.digitizer_errors(), supply_volts=SUPPLY, ambient_c=23.0)


def volts(capture, name):
    return capture.channels[name].scale * capture.codes[name].astype(np.float64)


def test_the_same_seed_shows_the_same_and_another_seed_other_noise():
    first, again, other = show(), show(), show(seed=4)
    for name, codes in first.captures[0].codes.items():
        assert np.array_equal(codes, again.captures[0].codes[name])
    assert first.pair_ohms == again.pair_ohms != other.pair_ohms
    assert not np.array_equal(first.captures[0].codes["v_ab"], other.captures[0].codes["v_ab"])


def test_peaks_are_speed_times_the_constant_of_the_motor():
    """A sinusoidal motor: the peak of v_ab is constant x speed, spread, ripple and errors together within 4 %."""
    constant = LOT.types["CP-40"].back_emf_constant / (1000 * 2 * np.pi / 60)      # V s/rad
    for capture in show().captures:
        peak = np.abs(volts(capture, "v_ab")).max()
        assert peak == pytest.approx(constant * SPEED, rel=0.04)


def test_reverse_turns_the_other_way():
    """v_bc is a third of a period behind v_ab forward, and ahead of it in reverse."""
    leads = []
    for capture in show().captures:
        ab, bc = (np.fft.rfft(volts(capture, name) * np.hanning(5000)) for name in ("v_ab", "v_bc"))
        k = int(np.argmax(np.abs(ab)))
        leads.append(float(np.degrees(np.angle(bc[k] / ab[k]))))
    assert leads == [pytest.approx(-120.0, abs=3.0), pytest.approx(120.0, abs=3.0)]


def test_lines_add_up_to_the_errors_of_their_channels():
    capture = show().captures[0]
    total = sum(volts(capture, name) for name in ("v_ab", "v_bc", "v_ca"))
    peak = np.abs(volts(capture, "v_ab")).max()
    assert np.abs(total).max() < 3 * (OFFSET + (COMMON_GAIN + GAIN) * peak) + 0.02
    assert np.ptp(total) > 0      # noise


def test_sensors_switch_between_ground_and_their_supply():
    capture = show().captures[0]
    high = volts(capture, "h_a") > SUPPLY / 2
    assert np.count_nonzero(np.diff(high.astype(int))) == pytest.approx(2 * 4 * SPEED * 0.5 / (2 * np.pi), abs=2)
    assert np.median(volts(capture, "h_a")[high]) == pytest.approx(SUPPLY, abs=0.6)


def test_values_at_rest_are_the_motor_within_the_errors_of_the_instruments():
    motor, shown = motor_of(), show()
    for index, ohms in enumerate(shown.pair_ohms.values()):
        true = motor.pair_resistance(index, 0.0)
        assert abs(ohms - true) <= bench.OHM_GAIN * true + bench.OHM_OFFSET
    assert abs(shown.winding_c - motor.temperature(0.0)) <= bench.TEMPERATURE
    assert shown.insulation == pytest.approx(motor.insulation, rel=bench.INSULATION_GAIN)
    assert shown.torques == pytest.approx([motor.drag(SPEED), motor.drag(-SPEED)], rel=bench.TORQUE_GAIN)
    assert shown.supply_current == pytest.approx(motor.sensor_current(SUPPLY), rel=0.01, abs=5e-5)


def test_a_defect_at_rest_is_shown():
    """A leak to the frame, from the entry of the lot."""
    assert show("CP60-0003").insulation < 100e6 < show().insulation
