"""Captures that cannot be trusted: each is refused with its own code and gives no number at all."""

from dataclasses import replace

import numpy as np
import pytest
from waves import Turning, Winding, capture, motor

from station.analysis.analyse import analyse_capture

RATE = 250e3


def refusal(turning=None, winding=None, *, of=None, change=None, **more):
    turning = turning or Turning()
    one = capture(turning, winding or Winding(), np.random.default_rng(1), **more)
    found = analyse_capture(change(one) if change else one, of or motor(turning.pole_pairs))
    assert found.refused is not None
    assert found.measurements == {}   # nothing to judge, so nothing can pass
    assert found.plot is None
    assert found.label == "forward 1500"
    return found.refused


def on(line, what):
    """Spoil one channel only."""
    return lambda name, volts: what(volts.copy()) if name == line else volts


def stands_still(count):
    def freeze(volts):
        volts[60_000:60_000 + count] = volts[60_000]
        return volts
    return freeze


def test_clipped_codes():
    found = refusal(scale=4e-4)
    assert found.code == "clipped"
    assert "wider range" in found.text


def test_a_single_code_at_the_rail_is_only_a_disturbance():
    def spike(volts):
        volts[1000] = 100.0
        return volts
    one = capture(Turning(), Winding(), np.random.default_rng(1), spoil=on("v_ab", spike))
    found = analyse_capture(one, motor())
    assert found.refused is None
    assert found.measurements["back_emf_constant_fundamental.ab"].value == pytest.approx(10.0, rel=2e-4)


def test_wave_cut_off_before_the_rail():
    assert refusal(spoil=on("v_bc", lambda volts: np.clip(volts, -13, 13))).code == "lines_do_not_close"


@pytest.mark.parametrize("line", ["v_ab", "v_bc", "v_ca"])
def test_exchanged_test_leads_of_one_channel_are_named(line):
    found = refusal(spoil=on(line, lambda volts: -volts))
    assert found.code == "line_reversed"
    assert f"With {line} turned over" in found.text


def test_a_channel_with_a_wrong_gain():
    assert refusal(spoil=on("v_ca", lambda volts: 1.05 * volts)).code == "lines_do_not_close"


@pytest.mark.parametrize(("lead", "kept"), [("a", "v_bc"), ("b", "v_ca"), ("c", "v_ab")])
@pytest.mark.parametrize("floating", [-0.5, 0.0], ids=["lead floats midway", "lines read nothing"])
def test_open_lead_is_named(lead, kept, floating):
    volts_kept = {}

    def spoil(name, volts):
        if not volts_kept:   # all three lines from the kept one
            index = ("v_ab", "v_bc", "v_ca").index(kept)
            turning, times = Turning(), np.arange(volts.size) / RATE
            volts_kept["volts"] = turning.speed(times) * Winding().volts_per_speed(turning.angle(times), index)
        noise = 5e-3 * np.random.default_rng(len(name) + ord(name[-1])).standard_normal(volts.size)
        return (1.0 if name == kept else floating) * volts_kept["volts"] + noise

    found = refusal(spoil=spoil)
    assert found.code == "open_phase"
    assert f"Lead {lead} " in found.text


@pytest.mark.parametrize("line", ["v_ab", "v_bc", "v_ca"])
@pytest.mark.parametrize("noise", [0.0, 5e-3], ids=["one code all along", "noise only"])
def test_a_dead_channel_is_named(line, noise):
    dead = noise * np.random.default_rng(3).standard_normal(125_000)
    found = refusal(spoil=on(line, lambda volts: dead))
    assert found.code == "line_silent"
    assert line in found.text


def test_leads_that_touch_are_named():
    """With b and c joined, v_bc is nothing and the two other lines are one voltage, seen from either end."""
    volts = {}

    def spoil(name, clean):
        volts.setdefault("ab", clean)
        return {"v_ab": clean, "v_bc": 0.0 * clean, "v_ca": -volts["ab"]}[name]

    found = refusal(spoil=spoil)
    assert found.code == "shorted_leads"
    assert "Leads b and c" in found.text


def test_equal_hum_on_all_lines_is_no_back_emf():
    def hum(_name, volts):
        return volts + 2.0 * np.sin(2 * np.pi * 50 * np.arange(volts.size) / RATE)
    assert refusal(winding=Winding(gains=(0.0, 0.0, 0.0)), spoil=hum).code == "no_emf"


def test_no_back_emf():
    assert refusal(winding=Winding(gains=(0.0, 0.0, 0.0))).code == "no_emf"


@pytest.mark.parametrize("seed", range(4))
def test_much_noise_is_no_back_emf(seed):
    """Too much to be a remnant of a motor's back-EMF: that nothing stands out of it must tell."""
    noise = capture(Turning(), Winding(gains=(0.0, 0.0, 0.0)), np.random.default_rng(seed), noise=4.0, scale=2e-3)
    found = analyse_capture(noise, motor()).refused
    assert found is not None
    assert found.text.startswith("No back-EMF: nothing in the three voltages stands out of the noise")


@pytest.mark.parametrize(("share", "remnant"), [(1e-4, True), (5e-3, True), (3e-2, False)])
def test_what_shorted_leads_leave_is_no_back_emf(share, remnant):
    """A clear tone, but of a motor that would idle faster at its rated voltage than any does."""
    weak = capture(Turning(), Winding(gains=(share, share, share)), np.random.default_rng(1), noise=1e-6, scale=2e-5)
    found = analyse_capture(weak, motor()).refused
    assert (found is not None and found.code == "no_emf" and "are a remnant" in found.text) == remnant


def test_codes_that_are_all_zero():
    assert refusal(winding=Winding(gains=(0.0, 0.0, 0.0)), noise=0.0).code == "no_emf"


@pytest.mark.parametrize("rpm", [30.0, 300.0])
def test_too_short(rpm):
    found = refusal(Turning(rpm=rpm))
    assert found.code == "too_short"
    assert "Take at least" in found.text


@pytest.mark.parametrize(("pole_pairs", "least"), [(1, 12.0), (8, 3.0)], ids=["12 periods", "3 revolutions"])
def test_how_much_is_needed(pole_pairs, least):
    """A rotor of one pole pair wants its periods, one of many its revolutions."""
    turning = Turning(pole_pairs=pole_pairs, rpm=1500)   # 25 revolutions a second
    assert refusal(turning, seconds=0.98 * least / 25).code == "too_short"
    enough = capture(turning, Winding(), np.random.default_rng(1), seconds=1.02 * least / 25)
    assert analyse_capture(enough, motor(pole_pairs)).refused is None


def test_a_rotor_with_another_number_of_poles():
    found = refusal(Turning(pole_pairs=5), of=motor(4))
    assert found.code == "speed_disagrees"
    assert "5.00 pole pairs" in found.text


def test_a_slipping_coupling():
    assert refusal(drive_rpm=1540.0).code == "speed_disagrees"


def test_small_difference_from_the_drive_is_not_refused():
    one = capture(Turning(), Winding(), np.random.default_rng(1), drive_rpm=1510.0)
    assert analyse_capture(one, motor()).refused is None


def test_reversal_inside_the_capture():
    turning = Turning(rpm=1500, drift=-4.0)   # stands still after 0.25 s, then turns back
    assert refusal(turning).code == "speed_not_stable"


def test_speed_that_is_not_settled():
    assert refusal(Turning(drift=0.3), drive_rpm=1612.0).code == "speed_not_stable"


@pytest.mark.parametrize("count", [37, 150, 1000])
def test_lost_samples(count):
    """37 samples of 2500 a period are 5 degrees of rotor angle."""
    found = refusal(spoil=lambda _, volts: np.concatenate([volts[:60_000], volts[60_000 + count:]]))
    assert found.code in {"samples_missing", "speed_not_stable"}


def test_samples_lost_on_one_channel_only():
    spoil = on("v_bc", lambda volts: np.concatenate([volts[:60_000], volts[60_037:], volts[:37]]))
    assert refusal(spoil=spoil).code == "lines_do_not_close"


@pytest.mark.parametrize("count", [500, 1250, 12_500])
def test_codes_that_stand_still(count):
    assert refusal(spoil=on("v_bc", stands_still(count))).code in {
        "wave_disturbed", "speed_not_stable", "lines_do_not_close"}


def test_contact_lost_for_a_moment():
    def loose(name, volts):
        volts = volts.copy()
        if name != "v_ab":
            volts[70_000:70_600] = 0.0
        return volts
    found = refusal(spoil=loose)
    assert found.code in {"samples_missing", "wave_disturbed"}
    assert "contact" in found.text


@pytest.mark.parametrize("rate", [2e3, 4e3, 5e3])
def test_sampled_too_slowly(rate):
    assert refusal(rate=rate, seconds=1.0).code == "sampled_too_slowly"


def test_orders_beyond_the_sampling_are_left_out_not_guessed():
    one = capture(Turning(), Winding(), np.random.default_rng(1), rate=6e3, seconds=1.0)
    found = analyse_capture(one, motor()).measurements   # 60 samples a period: 0.4 of them is order 24
    assert "harmonic_24.ab" in found
    assert "harmonic_25.ab" not in found
    assert "thd.ab" not in found
    assert found["harmonic_5.ab"].value == pytest.approx(4.0, abs=0.01)


@pytest.mark.parametrize("change", [{"drive_speed": np.nan}, {"drive_speed": 0.0}, {"temperature_c": np.nan},
                                    {"drive_speed": np.inf}], ids=str)
def test_conditions_that_are_no_numbers(change):
    assert refusal(change=lambda one: replace(one, **change)).code == "conditions_missing"


def test_a_drive_that_turned_the_other_way_than_declared():
    found = refusal(change=lambda one: replace(one, declared_speed=-one.declared_speed))
    assert found.code == "direction_contradicts"
    assert "the other way" in found.text


def test_a_missing_channel():
    def without(one):
        return replace(one, codes={name: codes for name, codes in one.codes.items() if name != "v_ca"})
    found = refusal(change=without)
    assert found.code == "channel_missing"
    assert "v_ca" in found.text


def test_channels_of_different_length():
    def cut(one):
        return replace(one, codes={**one.codes, "v_ca": one.codes["v_ca"][:-1]})
    assert refusal(change=cut).code == "lengths_differ"


def test_an_empty_capture():
    def empty(one):
        return replace(one, codes={name: codes[:0] for name, codes in one.codes.items()})
    assert refusal(change=empty).code == "too_short"
