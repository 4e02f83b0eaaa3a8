"""The digitizer's front ends: codes, steps, rails, skew, noise."""

import numpy as np
import pytest

from station.capture import CHANNELS
from station.simulated.front_end import CODES, NOISE_SHARE, NOISE_VOLTS, SKEW, FrontEnd, Sweep


def sine(amplitude, hertz):
    return lambda times: dict.fromkeys(CHANNELS, amplitude * np.sin(2 * np.pi * hertz * times))


def convert(front_end, signals, span=10.0, points=20_000):
    return front_end.convert(signals, Sweep(0.0, points, 1e-5, dict.fromkeys(CHANNELS, span)))


def test_codes_give_the_volts_back_within_the_errors_of_the_front_end():
    codes, clipped = convert(FrontEnd(7), sine(5.0, 100.0))
    times = 1e-5 * np.arange(1, 20_001)
    for name in CHANNELS:
        error = codes[name] * (10.0 / CODES) - 5.0 * np.sin(2 * np.pi * 100.0 * times)
        assert np.sqrt(np.mean(error**2)) < 0.006
    assert not clipped


def test_noise_is_there_and_as_large_as_declared():
    codes, _ = convert(FrontEnd(7), lambda times: dict.fromkeys(CHANNELS, np.zeros(times.size)))
    expected = np.hypot(np.hypot(NOISE_SHARE * 10.0, NOISE_VOLTS), 10.0 / CODES / 12**0.5)
    for taken in codes.values():
        assert np.std(taken * (10.0 / CODES)) == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize(("bits", "step"), [(16, 1), (14, 4), (12, 16)])
def test_resolution_shows_as_steps(bits, step):
    codes, _ = convert(FrontEnd(7, bits), sine(5.0, 100.0))
    assert all(np.gcd.reduce(taken) == step for taken in codes.values())


def test_a_signal_beyond_the_range_stays_at_the_rails_and_is_told():
    codes, clipped = convert(FrontEnd(7, 12), sine(12.0, 100.0))
    assert clipped
    assert all((taken.max(), taken.min()) == (32767, -32768) for taken in codes.values())


def test_channels_are_skewed_against_each_other():
    # A ramp of 2e6 V/s turns 50 ns into 0.1 V, far above what offset and noise make of it.
    slope = 2e6
    codes, _ = convert(FrontEnd(7), lambda times: dict.fromkeys(CHANNELS, slope * (times - 1e-4)), 1000.0, 18)
    means = np.array([np.mean(codes[name]) * (1000.0 / CODES) for name in CHANNELS]) / slope
    spread = np.ptp(means)
    assert 4e-8 < spread < 2 * SKEW + 4e-8   # noise alone makes 2e-8 of it


def test_same_seed_same_codes_and_another_seed_others():
    first, again, other = (convert(FrontEnd(seed), sine(5.0, 100.0))[0]["v_ab"] for seed in (7, 7, 8))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_self_test_finds_a_front_end_that_is_off():
    assert FrontEnd(7).self_test_fault() == ""
    broken = FrontEnd(7)
    broken._gain["h_b"] = 0.9
    assert "h_b" in broken.self_test_fault()


def test_impossible_resolution_is_refused():
    with pytest.raises(ValueError, match="12 to 16"):
        FrontEnd(7, 18)


def test_codes_made_while_samples_come_in_are_those_made_at_once():
    sweep = Sweep(0.5, 25_000, 1e-5, dict.fromkeys(CHANNELS, 10.0))
    at_once, _ = FrontEnd(7).convert(sine(5.0, 100.0), sweep)
    conversion = FrontEnd(7).begin(sweep)
    for now in (0.5, 0.6, 0.65, 0.74):
        conversion.advance(lambda times, now=now: sine(5.0, 100.0)(_not_after(times, now)), now)
        assert not conversion.is_complete
    conversion.advance(sine(5.0, 100.0), sweep.end)
    assert conversion.is_complete
    assert all(np.array_equal(conversion.codes[name], at_once[name]) for name in CHANNELS)


def _not_after(times, now):
    assert times.max() <= now
    return times
