"""Twenty captures that mislead a plain analysis: what it would say, and what is right, in numbers."""

from dataclasses import replace

import numpy as np
import pytest
from hall_signals import good_leads, lead
from hard_waves import TRAPEZE, Cogging, Shaft, sensed, six_channels
from waves import Turning, Winding, capture

from station.analysis.analyse import analyse_capture
from station.analysis.hall import analyse_hall

FAST = Turning(rpm=3000)   # 200 Hz at four pole pairs
CONSTANT = 8.0 / 1.5       # V/krpm


def measured(capture, motor_type=None):
    found = analyse_capture(capture, motor_type or sensed())
    assert found.refused is None, found.refused
    return found.measurements


def refused(capture, motor_type=None):
    found = analyse_capture(capture, motor_type or sensed())
    assert found.measurements == {}
    assert found.plot is None
    assert found.refused is not None
    return found.refused


def codes_of_causes(capture):
    return [each.code for each in analyse_capture(capture, sensed()).findings]


def near(measurement, value, times=4.0):
    """Say whether a value lies within so many of its own type A uncertainties, and is finite."""
    noise = np.sqrt(sum(row.u**2 for row in measurement.budget if row.kind == "A"))
    return abs(measurement.value - value) <= times * noise


def naive_changes(codes):
    """Edges as a comparator sees them: every change of side about the middle of the codes."""
    middle = (int(codes.max()) + int(codes.min())) / 2
    return int(np.count_nonzero(np.diff(codes > middle)))


def naive_rises(codes):
    return int(np.count_nonzero(np.diff((codes > 0).astype(int)) > 0))


def naive_share(codes, order, frequency, rate):
    """Amplitude of an order over the fundamental, read at one frequency."""
    times = np.arange(codes.size) / rate
    tone = [abs(np.mean(codes * np.exp(-2j * np.pi * h * frequency * times))) for h in (1, order)]
    return tone[1] / tone[0]


def test_01_record_starts_within_an_edge():
    """Naive: 81 edges. Right: 80, and a whole number per revolution."""
    ramp = 10 / 250e3
    at_48_percent = -np.rad2deg(0.02 * ramp * 2 * np.pi * 200)
    turning = replace(FAST, start_deg=at_48_percent)
    one = six_channels(turning, leads=good_leads(ramp=ramp), rate=250e3, seconds=40.25 / 200)
    assert naive_changes(one.codes["h_a"][1:]) + 1 == 81   # with the change that the first sample is in
    hall = analyse_hall(one, sensed(), Shaft(turning))
    assert hall.edges["a"].angle.size == 80
    found = measured(one)
    assert found["hall_edges_per_revolution"].value == 24
    assert found["hall_missing"].value == 0
    assert abs(found["hall_placement.a"].value) < 0.05


def _bouncing(name, volts):
    """Three pulses of one sample after each edge of sensor a."""
    if name == "a":
        high = volts > 2.5
        for edge in np.flatnonzero(high[1:] != high[:-1]):
            for pulse in (2, 4, 6):
                volts[edge + pulse] = 5.0 - volts[edge + pulse]
    return volts


def test_02_bounce():
    """Naive: 560 edges and sectors of 0.3 degrees. Right: 80 edges, each of 7 crossings."""
    turning = replace(FAST, start_deg=30.0)
    one = six_channels(turning, leads=good_leads(ramp=0.0), rate=250e3, seconds=0.2, hall_spoil=_bouncing)
    assert naive_changes(one.codes["h_a"]) == 560
    hall = analyse_hall(one, sensed(), Shaft(turning))
    assert hall.edges["a"].angle.size == 80
    found = measured(one)
    assert found["hall_bounce"].value == 80 * 6
    assert found["hall_edges_per_revolution"].value == 24
    assert found["hall_sector_min"].value == pytest.approx(60.0, abs=0.3)
    assert abs(found["hall_placement.a"].value) < 0.15   # half a sample is 0.14 degrees
    (bounce,) = [each.text for each in analyse_capture(one, sensed()).findings if each.code == "hall_bounce"]
    assert "A: 80 edges of typically 7 and at most 7 crossings, over typically 24 us and at most 24 us" in bounce


def test_02_a_lone_pulse_of_one_sample():
    """Naive: 82 edges. Right: 80, and the pulse counted as its two crossings."""
    def spike(name, volts):
        if name == "a":
            volts[26_000] = 5.0 - volts[26_000]   # far from any edge
        return volts

    turning = replace(FAST, start_deg=30.0)
    one = six_channels(turning, rate=250e3, seconds=0.2, hall_spoil=spike)
    assert naive_changes(one.codes["h_a"]) == 82
    assert analyse_hall(one, sensed(), Shaft(turning)).edges["a"].angle.size == 80
    found = measured(one)
    assert found["hall_bounce"].value == 2
    assert "A: 2 crossings in pulses away from the edges" in analyse_capture(one, sensed()).findings[0].text
    assert found["hall_edges_per_revolution"].value == 24
    assert found["hall_missing"].value == 0


def test_03_no_whole_number_of_periods():
    """Naive: the strongest bin of a spectrum reads 1.1 % too fast and the amplitude 33 % low."""
    one = six_channels(noise=0.04)
    volts = one.codes["v_ab"] * one.channels["v_ab"].scale
    spectrum = np.abs(np.fft.rfft(volts)) * 2 / volts.size
    assert np.argmax(spectrum) / 0.4154 == pytest.approx(101.1, abs=0.1)
    assert spectrum.max() < 0.7 * 8
    found = measured(one)
    assert near(found["back_emf_constant_fundamental.ab"], CONSTANT)
    assert found["back_emf_constant_fundamental.ab"].value == pytest.approx(CONSTANT, rel=2e-4)
    assert near(found["electrical_frequency"], 100.0)
    assert found["electrical_frequency"].value == pytest.approx(100.0, rel=2e-5)


def test_04a_reverse():
    """Naive: v_bc at +120 degrees instead of -120, a phase error of 240. Right: it turns in reverse, all else stays."""
    ahead, back = measured(six_channels()), measured(six_channels(Turning(rpm=-1500)))
    assert back["speed"].value == pytest.approx(-1500, rel=1e-4)
    assert back["phase_order"].value == back["hall_order"].value == 1
    assert back["phase_angle.bc"].value == pytest.approx(120.0, abs=0.02)
    for name in ("back_emf_constant_fundamental.ab", "hall_angle_rise.b", "hall_angle_fall.c", "harmonic_5.ca"):
        assert back[name].value == pytest.approx(ahead[name].value, rel=5e-3)
    # The same record under a drive that turned forward: lines and codes both run the wrong way.
    against = measured(six_channels(Turning(rpm=-1500), drive_rpm=1500))
    assert against["phase_order"].value == against["hall_order"].value == -1


def test_04b_reversal_within_the_record():
    """Naive: a mean frequency near zero. Right: no numbers."""
    assert refused(six_channels(Turning(drift=-2 / 0.4154 * 1.01))).code == "speed_not_stable"


def _without_a_pulse(name, volts):
    """Sensor b stays low through the one of its 40 pulses that holds sample 20 000."""
    if name == "b":
        low = np.flatnonzero(volts < 2.5)
        before, after = low[low < 20_000].max(), low[low > 20_000].min()
        volts[before:after + 10] = 0.2
        volts[before - 10:before] = 0.2
    return volts


def test_05_missing_pulse():
    """Naive: 78 edges, and counting round by sixes gives every later one to the wrong sensor."""
    turning = Turning(start_deg=200.0)
    one = six_channels(turning, rate=100e3, seconds=0.4, hall_spoil=_without_a_pulse)
    hall = analyse_hall(one, sensed(), Shaft(turning))
    edges = hall.edges["b"]
    assert edges.angle.size == 78
    off = (np.rad2deg(edges.angle) - 120.0 + 90.0) % 180.0 - 90.0
    assert np.abs(off).max() < 0.1   # every other edge is where it was
    found = measured(one)
    assert found["hall_missing"].value == 2
    assert found["hall_edges_per_revolution"].value < 24
    assert abs(found["hall_placement.b"].value) < 0.05
    (lost,) = [each.text for each in analyse_capture(one, sensed()).findings if each.code == "hall_pulse_missing"]
    # Sample 20 000 lies in cycle 20 of the rotor angle, the capture begins in cycle 0.
    assert "B at pole pair 1 of 4 (0 mechanical degrees on) in 1 of 10 revolutions, once" in lost
    assert "speaks for a contact" in lost


def test_05_the_same_pulse_missing_in_each_revolution():
    """A weak pole: the third of four pole pairs, 40 pulses less ten."""
    def weak(name, volts):
        if name == "b":
            samples = np.arange(volts.size)
            cycle = np.floor((200.0 + samples * 0.36 - 120.0) / 360.0)   # degrees in a sample at 100 kS/s
            volts[cycle % 4 == 2] = 0.2
        return volts

    one = six_channels(Turning(start_deg=200.0), rate=100e3, seconds=0.4, hall_spoil=weak)
    found = measured(one)
    assert found["hall_missing"].value == 20
    (lost,) = [each.text for each in analyse_capture(one, sensed()).findings if each.code == "hall_pulse_missing"]
    assert "in 10 of 10 revolutions, the same place each time, which speaks for a weak pole" in lost


def test_05_a_line_that_freezes_moves_no_mean():
    """Naive: one edge 21 degrees late moves the mean of all. Right: it is missing, and jitter shows it too."""
    def freeze(name, volts):
        if name == "b":
            edge = np.flatnonzero((volts[1:] > 2.5) & (volts[:-1] <= 2.5))[19]
            volts[edge - 5:edge + 60] = 0.2   # 22 degrees: not far enough to be no edge of this cycle
        return volts

    found = measured(six_channels(Turning(start_deg=200.0), rate=100e3, seconds=0.4, hall_spoil=freeze))
    assert found["hall_missing"].value == 1
    assert abs(found["hall_angle_rise.b"].value - 120.0) < 0.05
    assert found["hall_angle_rise.b"].u < 0.1
    assert found["hall_jitter.b"].value > 2.0


def test_06_sensor_stuck_at_half_level():
    """Naive: tens of thousands of edges. Right: none, no valid levels, and the two others measured."""
    one = six_channels(leads=good_leads() | {"b": 2.5}, hall_noise=0.02)
    assert naive_changes(one.codes["h_b"]) > 10_000
    found = measured(one)
    assert not any(name.startswith("hall_") and name.endswith(".b") for name in found)
    assert found["hall_edges_per_revolution"].value == 16
    assert found["hall_missing"].value >= 80
    for sensor in "ac":
        assert abs(found[f"hall_placement.{sensor}"].value) < 0.05
    assert codes_of_causes(one) == ["hall_sensor_stuck"]


def test_07_direct_voltage():
    """Naive: raw zeros move by 1.43 degrees one way and the other. Right: nothing moves, and the offset is told."""
    plain, shifted = measured(six_channels()), measured(six_channels(offsets=(0.2, 0.0, 0.0)))
    assert shifted["back_emf_offset.ab"].value == pytest.approx(0.200, abs=2e-3)
    for name in ("back_emf_constant_fundamental.ab", "phase_angle.bc", "hall_angle_rise.a", "hall_angle_fall.a"):
        assert shifted[name].value == pytest.approx(plain[name].value, rel=1e-4, abs=0.01)


SKEWED = ((0.0, 0.0), (10e-6 / 3, 0.0), (20e-6 / 3, 0.0))   # a converter that takes one channel after the other


def test_08_skew_between_channels():
    """Naive: 0.12 and 0.24 degrees of phase error. Right: none if declared; else the limit of error covers it."""
    one = six_channels(delays=SKEWED)
    found = measured(one)
    assert found["phase_angle.bc"].value == pytest.approx(120.0, abs=0.02)
    assert found["phase_angle.ca"].value % 360 == pytest.approx(240.0, abs=0.02)
    bare = {name: replace(channel, skew=0.0) for name, channel in one.channels.items()}
    undeclared = replace(one, channels=bare, accuracy=replace(one.accuracy, skew=20e-6 / 3))
    found = measured(undeclared)
    errors = found["phase_angle.bc"].value - 120.0, found["phase_angle.ca"].value % 360 - 240.0
    assert np.abs(errors) == pytest.approx((0.12, 0.24), abs=0.02)
    assert abs(errors[1]) < 2 * found["phase_angle.ca"].u


def test_09_aliasing():
    """Naive: at ten samples a period order 13 reads as order 3. Right: refused, and the highest order named."""
    slow = six_channels(FAST, rate=2e3, seconds=2.0, leads=good_leads(ramp=0.0))
    assert naive_share(slow.codes["v_ab"], 3, 200.0, 2e3) > 0.005
    refusal = refused(slow)
    assert refusal.code == "sampled_too_slowly"
    assert "orders above 4 cannot be told" in refusal.text
    found = measured(six_channels(FAST, rate=12.2e3, seconds=1.0, leads=good_leads(ramp=0.0)))   # 61 a period
    assert "harmonic_24.ab" in found
    assert not {"harmonic_25.ab", "thd.ab"} & found.keys()
    assert found["harmonic_3.ab"].value < 0.05


@pytest.mark.parametrize("floating", [0.0, -0.5], ids=["a: two lines read nothing", "b: floating midpoint"])
def test_10_open_phase(floating):
    """Naive: the sum of lines is zero as it should be and a tracker reads 20 Hz for 100. Right: lead c is open."""
    volts = {}

    def spoil(name, clean):
        volts.setdefault("ab", clean)
        noise = 0.04 * np.random.default_rng(ord(name[-1])).standard_normal(clean.size)
        return clean if name == "v_ab" else floating * volts["ab"] + noise

    refusal = refused(six_channels(spoil=spoil))
    assert refusal.code == "open_phase"
    assert "Lead c has no contact" in refusal.text
    assert "v_ab 1.00" in refusal.text
    assert "v_ab has an amplitude of about 7.99 V, 5.33 V at 1000 r/min: an indication" in refusal.text


def test_11_wrong_number_of_poles():
    """Naive: all electrical values right, speed and constants wrong by 25 %. Right: refused, five pole pairs named."""
    refusal = refused(six_channels(Turning(pole_pairs=5)))
    assert refusal.code == "speed_disagrees"
    assert "5.00 pole pairs" in refusal.text
    assert "The Hall sensors show 30.00 edges in a revolution of the drive, where the type has 24" in refusal.text


def test_11_without_sensors_nothing_is_said_of_them():
    one = six_channels(Turning(pole_pairs=5))
    lines = {name: codes for name, codes in one.codes.items() if name.startswith("v_")}
    refusal = refused(replace(one, codes=lines))
    assert refusal.code == "speed_disagrees"
    assert "Hall" not in refusal.text


@pytest.mark.parametrize(("drive_rpm", "accepted"), [(1500 * 1.008, True), (1500 * 1.012, False)])
def test_11_one_percent_against_the_drive(drive_rpm, accepted):
    assert (analyse_capture(six_channels(drive_rpm=drive_rpm), sensed()).refused is None) == accepted


def test_12_very_slow():
    """Naive: fits of a sixth of a period converge to anything. Right: refused with the time that it takes."""
    refusal = refused(capture(Turning(rpm=6), TRAPEZE, np.random.default_rng(5), noise=1e-3, scale=1e-5))
    assert refusal.code == "too_short"
    assert "Take at least 100 s" in refusal.text


def test_13_two_hall_sensors_exchanged():
    """Naive: every sensor looks fine and all sectors are 60 degrees. Right: the codes run against the lines."""
    one = six_channels(leads=good_leads() | {"b": lead(240.0), "c": lead(120.0)})
    found = measured(one)
    assert found["hall_sector_min"].value == pytest.approx(60.0, abs=0.1)
    assert found["phase_order"].value == 1
    assert found["hall_order"].value == -1
    assert [abs(found[f"hall_placement.{s}"].value) for s in "abc"] == pytest.approx([0, 120, 120], abs=0.05)
    (cause,) = analyse_capture(one, sensed()).findings
    assert cause.code == "hall_leads_exchanged"
    assert "leads B and C are exchanged" in cause.text


def test_13_exchanged_sensors_turned_backwards():
    """Naive: the codes run as declared, so all is well. Right: the lines say that it is not."""
    back = Turning(rpm=-1500)
    found = measured(six_channels(back, leads=good_leads() | {"b": lead(240.0), "c": lead(120.0)}, drive_rpm=1500))
    assert (found["hall_order"].value, found["phase_order"].value) == (1, -1)


def test_13_sensors_at_60_degrees_on_a_type_with_120():
    found = measured(six_channels(leads=good_leads(60)))
    assert found["hall_forbidden"].value > 0


def test_14_clipped_tops():
    """Naive: fundamental 3 % low, third 2.3 % that is not there. Right: refused, to be taken on a wider range."""
    one = six_channels()
    rail = int(0.9 * one.codes["v_ab"].max())
    codes = {**one.codes, "v_ab": np.clip(one.codes["v_ab"], -rail, rail)}
    channels = {**one.channels, "v_ab": replace(one.channels["v_ab"], code_min=-rail, code_max=rail)}
    clipped = replace(one, codes=codes, channels=channels)
    assert naive_share(codes["v_ab"], 3, 100.0, 100e3) > 0.01
    refusal = refused(clipped)
    assert refusal.code == "clipped"
    assert f"{np.count_nonzero(np.abs(codes['v_ab']) == rail)} samples" in refusal.text


@pytest.mark.parametrize("places", [(20_000,), (0,), (41_539,), (20_000, 31_000)], ids=str)
def test_15_a_bad_code(places):
    """Naive: the highest sample reads full scale. Right: its block is left out, and counted."""
    one = six_channels()
    spoiled = one.codes["v_bc"].copy()
    spoiled[list(places)] = 32767
    clean, found = measured(one), measured(replace(one, codes={**one.codes, "v_bc": spoiled}))
    assert clean["bad_samples"].value == 0
    assert found["bad_samples"].value == len(places)
    for line in ("ab", "bc", "ca"):
        for name in ("back_emf_constant_fundamental", "back_emf_constant_peak", "pole_spread"):
            here, before = found[f"{name}.{line}"], clean[f"{name}.{line}"]
            assert abs(here.value - before.value) < 0.5 * before.u
    assert found["hall_angle_rise.a"].value == pytest.approx(clean["hall_angle_rise.a"].value, abs=0.01)


def test_15_ten_bad_codes_are_more_than_a_disturbance():
    one = six_channels()
    spoiled = one.codes["v_bc"].copy()
    spoiled[1000:40_000:4000] = 32767
    assert refused(replace(one, codes={**one.codes, "v_bc": spoiled})).code == "clipped"


def _lost(one, count, at=20_000):
    """All six channels lose the same samples."""
    return replace(one, codes={name: np.delete(codes, slice(at, at + count)) for name, codes in one.codes.items()})


def test_16_dropped_samples():
    """Naive: frequency 900 ppm high, nothing else looks wrong. Right: refused for the step in the angle."""
    assert refused(_lost(six_channels(), 37)).code == "samples_missing"   # 13 degrees


@pytest.mark.parametrize("count", [1, 2, 4, 6])
def test_16_few_dropped_samples(count):
    """What is too little to be told, below about two degrees, moves the frequency by its share of the record only."""
    found = analyse_capture(_lost(six_channels(), count), sensed())
    if found.refused is not None:
        assert found.refused.code == "samples_missing"
        return
    share = count / 41_540
    assert found.measurements["electrical_frequency"].value == pytest.approx(100 * (1 + share), rel=10e-6)
    for line in ("ab", "bc", "ca"):
        assert found.measurements[f"back_emf_constant_fundamental.{line}"].value == pytest.approx(CONSTANT, rel=5e-4)
    for sensor in "abc":
        assert abs(found.measurements[f"hall_placement.{sensor}"].value) < 0.03


@pytest.mark.parametrize("line", ["ab", "bc", "ca"])
def test_17_one_line_turned_over(line):
    """Naive: the direction flips and one phase is off by 180 degrees. Right: the line is named."""
    refusal = refused(six_channels(spoil=lambda name, volts: -volts if name == f"v_{line}" else volts))
    assert refusal.code == "line_reversed"
    assert f"With v_{line} turned over" in refusal.text


def test_18_chatter_at_the_zeros():
    """Naive: more rising zeros than the 41 that there are. Right: 41 whole cycles."""
    one = six_channels(Turning(start_deg=90.0), rate=100e3, noise=0.04)
    assert naive_rises(one.codes["v_ab"]) > 41
    found = measured(one)
    assert int(found["electrical_frequency"].value * 0.4154) == 41
    assert near(found["electrical_frequency"], 100.0)


@pytest.mark.parametrize("noise", [0.04, 0.0])
def test_19_no_motor(noise):
    """Naive: the strongest bin of noise. Right: no back-EMF."""
    assert refused(six_channels(winding=Winding(gains=(0.0, 0.0, 0.0)), noise=noise)).code == "no_emf"


def test_20_ripple_at_the_slots():
    """Six ripples a period are the same signal as harmonics 5 and 7: no method can tell them apart.

    Right: the same value with an uncertainty that covers it, if the ripple of the drive is declared.
    Source: order 6 k +- 1 reads up to r (m +- 1) / (2 m) too high, the angle r / m rad off; m = 6 (derived).
    """
    ripple, turning = 0.005, Cogging(slot_ripple=0.005)
    one = six_channels(turning)
    found, still = measured(one), measured(six_channels())
    declared = measured(replace(one, accuracy=replace(one.accuracy, slot_ripple=ripple)))
    shift = np.rad2deg(ripple / 6) * np.sin(6 * np.deg2rad(turning.start_deg))
    assert found["hall_placement.a"].value == pytest.approx(shift, abs=0.02)
    assert found["back_emf_constant_fundamental.ab"].value == pytest.approx(CONSTANT, rel=5e-4)
    for name in ("harmonic_5.ab", "harmonic_7.ab", "thd.ab", "hall_placement.a"):
        error = declared[name].value - still[name].value
        assert declared[name].value == found[name].value
        assert declared[name].u > found[name].u
        assert abs(error) < 2 * declared[name].u
    assert abs(found["harmonic_5.ab"].value - still["harmonic_5.ab"].value) > 2 * found["harmonic_5.ab"].u
