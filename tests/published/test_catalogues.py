"""Constants of motor catalogues against the conversions of the station.

Kt over Ke tells a sheet's convention: peak or rms, sine current or six-step.
"""

import pytest

from station.analysis import conversion
from station.units import RPM, VOLT_PER_KRPM


@pytest.mark.parametrize(("speed_constant_rpm", "emf_mv_per_rpm", "torque_mnm_per_a"), [
    (658, 1.521, 14.52), (475, 2.107, 20.12), (324, 3.089, 29.50), (258, 3.877, 37.02),
], ids=["12 V", "24 V", "36 V", "48 V"])
def test_one_constant_three_ways(speed_constant_rpm, emf_mv_per_rpm, torque_mnm_per_a):
    """Source: data sheet 3564 K...B, paperzz.com/doc/7763922/47-1-mnm-brushless-dc."""
    torque = torque_mnm_per_a * 1e-3
    assert emf_mv_per_rpm * 1e-3 / RPM == pytest.approx(torque, rel=1e-3)
    assert conversion.speed_constant(torque) / RPM == pytest.approx(speed_constant_rpm, rel=2e-3)


@pytest.mark.parametrize(("torque_mnm_per_a", "speed_constant_rpm"), [(40.4, 236), (57, 167), (80.8, 118), (152, 62.8)])
def test_speed_constant_of_a_flat_motor(torque_mnm_per_a, speed_constant_rpm):
    """Source: catalogue page of a 70 W flat motor, online.flippingbook.com/view/1042987/324; kn has 3 digits."""
    found = conversion.speed_constant(torque_mnm_per_a * 1e-3) / RPM
    assert found == pytest.approx(speed_constant_rpm, rel=5e-3)


# Transcribed rows, each with its maker's address in the source list below; Ke in V rms line to line per krpm.
@pytest.mark.parametrize(("emf_rms_v_per_krpm", "torque_nm_per_a_rms"), [
    pytest.param(159.1, 2.62, id="boschrexroth.com R911347583_07"),
    pytest.param(31.0, 0.51, id="artisantg.com GoldLine series, B-104-A"),
    pytest.param(22.5, 0.37, id="artisantg.com GoldLine series, B-104-B"),
    pytest.param(79.5, 1.32, id="artisantg.com GoldLine series, B-202-A"),
    pytest.param(29.6, 0.49, id="artisantg.com GoldLine series, B-204-C"),
    pytest.param(130.0, 2.15, id="artisantg.com GoldLine series, B-206-A"),
    pytest.param(81.2, 1.34, id="artisantg.com GoldLine series, B-404-B"),
    pytest.param(37.7, 0.63, id="artisantg.com GoldLine series, B-406-C"),
])
def test_rms_volts_and_rms_amps(emf_rms_v_per_krpm, torque_nm_per_a_rms):
    peak = emf_rms_v_per_krpm * 2**0.5 * VOLT_PER_KRPM
    assert conversion.torque_constant_rms(peak) == pytest.approx(torque_nm_per_a_rms, rel=0.011)


@pytest.mark.parametrize(("emf_rms_v_per_rad_s", "torque_nm_per_a_rms"), [
    pytest.param(2.52, 4.35, id="etel.ch TMB0140-030"), pytest.param(4.04, 7.05, id="etel.ch TMB0210-030"),
    pytest.param(11.3, 19.6, id="etel.ch TMB0290-030"),
])
def test_rms_volts_per_rad_per_s(emf_rms_v_per_rad_s, torque_nm_per_a_rms):
    assert conversion.torque_constant_rms(emf_rms_v_per_rad_s * 2**0.5) == pytest.approx(torque_nm_per_a_rms, rel=0.01)


def test_peak_volts_and_rms_amps():
    """Source: tecnotion.com QTR105_Specsheet_EN_2.0: 51 V peak per krpm, 0.60 N m/A rms."""
    assert conversion.torque_constant_rms(51 * VOLT_PER_KRPM) == pytest.approx(0.60, rel=0.01)


def test_peak_volts_and_dc_amps():
    """Source: encyclopedia2.thefreedictionary.com/torque+constant: 51 V/krpm with 0.49 N m/A."""
    assert pytest.approx(0.49, rel=0.01) == 51 * VOLT_PER_KRPM


def test_table_of_conversions():
    """Source: derived, Ke = 10 V/krpm peak, 4 pole pairs; formulas agree with
    ww2.mathworks.cn/matlabcentral/answers/102421 (flux linkage from Ke and from Kt)."""
    peak = 10 * VOLT_PER_KRPM
    assert peak == pytest.approx(0.09549297, rel=1e-6)
    assert conversion.flux_linkage_of_phase(peak, 4) == pytest.approx(0.01378322, rel=1e-6)
    assert conversion.torque_constant_peak(peak) == pytest.approx(0.08269933, rel=1e-6)
    assert conversion.torque_constant_rms(peak) == pytest.approx(0.1169545, rel=1e-6)
    assert conversion.torque_constant_six_step(peak) == pytest.approx(0.09118907, rel=1e-6)
    # lambda = Kt_rms sqrt(2) / (3 p)
    assert conversion.torque_constant_rms(peak) * 2**0.5 / 12 == pytest.approx(0.01378322, rel=1e-6)


def test_speed_of_touch_voltage():
    """Source: 25 V rms from the scope of EN 50191 (public abstract); 10 V/krpm peak reaches it at 3536 r/min."""
    assert conversion.touch_voltage_speed(10 * VOLT_PER_KRPM) / RPM == pytest.approx(3535.5, abs=0.1)


@pytest.mark.parametrize(("line_peak", "rpm", "pole_pairs", "flux_linkage"), [
    # Source: gym-electric-motor 3.0.3, its default machine at 3000 r/min with open terminals (computed once)
    pytest.param(107.7397, 3000, 3, 0.066, id="gym-electric-motor"),
    # Source: Modelica Standard Library, SM_PermanentMagnetData: 112.3 V rms per phase at 50 Hz
    pytest.param(112.3 * 6**0.5, 1500, 2, 0.505528, id="modelica"),
    # Source: motulator 0.5.0, line peak of its 2.2 kW machine at 1500 r/min (computed once)
    pytest.param(444.8343, 1500, 3, 0.545, id="motulator"),
])
def test_flux_linkage_of_simulation_libraries(line_peak, rpm, pole_pairs, flux_linkage):
    found = conversion.flux_linkage_of_phase(line_peak / (rpm * RPM), pole_pairs)
    assert found == pytest.approx(flux_linkage, rel=2e-6)


def test_a_delta_seen_as_a_star():
    """Source: derived; windings of 10 V in delta and of 5.7735 V in star give the same 10 V between leads."""
    assert conversion.star_equivalent(10.0) * 3**0.5 == pytest.approx(10.0)
    assert conversion.star_equivalent(10.0) == pytest.approx(5.7735, abs=1e-4)
