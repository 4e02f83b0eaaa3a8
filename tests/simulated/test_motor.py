"""station.simulated.motor: what a placed motor shows at its terminals."""

import numpy as np
import pytest

from station.simulated.lot import demo_lot_path, load_lot
from station.simulated.motor import build_motor

LOT = load_lot(demo_lot_path())
RPM_1000 = 1000 * 2 * np.pi / 60


def placed(serial):
    return build_motor(LOT, serial, 1, 22.9)


def turn(motor, speed=RPM_1000, seconds=0.3):
    times = np.arange(0.0, seconds, 5e-6)
    angle, speeds = speed * times, np.full(times.size, speed)
    return times, angle, speeds, motor.line_voltages(times, angle, speeds)


@pytest.mark.parametrize("serial", list(LOT.motors))
def test_voltage_over_signed_speed_belongs_to_the_rotor_alone(serial):
    motor = placed(serial)
    angle = np.linspace(0.0, 6.0, 500)
    times = np.zeros(500) + 0.04   # one moment: contact closed
    forward = motor.line_voltages(times, angle, np.full(500, 80.0)) / 80.0
    backward = motor.line_voltages(times, angle, np.full(500, -20.0)) / -20.0
    assert forward == pytest.approx(backward, abs=1e-12)
    assert forward.sum(axis=0) == pytest.approx(np.zeros(500), abs=1e-12)


def test_loose_contact_drops_out_in_every_eighth_of_a_second():
    _, angle, _, (ab, bc, ca) = turn(placed("CP40-0117"), seconds=1.0)
    # The length of the space vector of three sound lines is steady; while a lead floats it collapses.
    length = np.hypot((2 * ab - bc - ca) / 3, (bc - ca) / np.sqrt(3))
    for part in np.array_split(np.arange(angle.size), 7):
        assert length[part].min() < 0.5 * np.median(length)


def test_magnet_and_copper_follow_the_temperature():
    motor = placed("CP40-0001")
    hot = build_motor(LOT, "CP40-0001", 1, 62.9)
    assert hot.temperature(0.0) - motor.temperature(0.0) == pytest.approx(40.0)
    warm = (1 - 0.0011 * (hot.winding_c - 20)) / (1 - 0.0011 * (motor.winding_c - 20))
    assert hot.lines.max() / motor.lines.max() == pytest.approx(warm)
    # 20 to 100 °C copper: 1.313725 with the constant 235.
    at_100 = build_motor(LOT, "CP40-0001", 1, 100.0 - (motor.winding_c - 22.9))
    assert at_100.pair_resistance(0, 0.0) / motor.unit.windings.pair_resistances()[0] == pytest.approx(1.313725)


@pytest.mark.parametrize("serial", ["CP40-0001", "CP40-0003", "VB24-0001", "CP60-0001"])
def test_good_motor_draws_little_and_turns_easily(serial):
    motor = placed(serial)
    assert motor.drag(2 * RPM_1000) + motor.cogging_torque < 0.030
    assert 0.008 < motor.sensor_current(5.0) < 0.025
    assert 23.0 < motor.temperature(0.0) < 25.0


@pytest.mark.parametrize("serial", ["CP40-0004", "CP60-0103", "CP40-0116"])
def test_shorts_wrong_connections_and_bad_bearings_brake(serial):
    assert placed(serial).drag(2 * RPM_1000) > 0.045


def test_lost_supply_leaves_the_pull_ups():
    motor = placed("CP40-0111")
    levels = motor.sensor_levels(np.linspace(0.0, 1.0, 400), np.linspace(0.0, 6.0, 400), np.full(400, 50.0))
    assert levels.min() > 0.9
    assert motor.sensor_current(5.0) == 0.0


def test_exchanged_wires_exchange_the_signals():
    motor = placed("VB24-0002")
    rotor, speed = np.linspace(0.0, 6.28, 4000), np.full(4000, 50.0)
    levels = motor.sensor_levels(rotor / 50.0, rotor, speed) > 0.5
    rotor = (rotor + motor.first_angle) * 2 * 180 / np.pi
    for index, rise in enumerate((0.0, 240.0, 120.0)):
        inside = ((rotor - rise) % 360 > 5) & ((rotor - rise) % 360 < 175)
        assert levels[index][inside].all()


def test_a_slipping_coupling_turns_the_rotor_slower_than_the_drive():
    motor = placed("CP40-0129")
    times = np.linspace(0.0, 1.0, 20_000)
    speed = np.full(times.size, 2 * RPM_1000)
    volts = motor.line_voltages(times, speed * times, speed)[0]
    cycles = np.count_nonzero(np.diff(np.signbit(volts))) / 2
    assert cycles == pytest.approx(4 * 2000 / 60 * 0.95, abs=1)
    assert volts.max() == pytest.approx(0.95 * 20.0, rel=0.02)


def test_a_loose_sensor_wire_is_held_high_while_it_is_open():
    motor, sound = placed("CP40-0126"), placed("CP40-0001")
    times = np.linspace(0.0, 1.0, 20_000)
    speed = np.full(times.size, 2 * RPM_1000)
    for k, high in enumerate(motor.sensor_levels(times, speed * times, speed).mean(axis=1)):
        assert (high > 0.52) == (k == 1)
    assert sound.sensor_levels(times, speed * times, speed).mean() == pytest.approx(0.505, abs=0.01)


def test_a_weak_sensor_ring_switches_late_and_leaves_the_voltages():
    """Source: lag h = asin(B_op/B_pk); 0.017 in 0.15 gives 6.5 degrees (derived)."""
    motor = placed("CP40-0127")
    rises = [float(course[0].angle[course[0].state][0]) for course in motor.switchings]
    late = [4 * np.degrees(rise) - sensor.rise_deg for rise, sensor in zip(rises, motor.unit.sensors, strict=True)]
    assert [(deg + 45.0) % 90.0 - 45.0 for deg in late] == pytest.approx([6.5] * 3, abs=1.5)
    assert motor.lines.max() == pytest.approx(placed("CP40-0001").lines.max(), rel=0.03)
