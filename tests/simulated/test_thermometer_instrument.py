"""The thermometer over its socket."""

import pytest


def test_reads_both_places(served, connect):
    meter = connect("thermometer")
    winding, ambient = meter.numbers("MEAS:TEMP? (@1,2)")
    assert winding == pytest.approx(served.rig.temperature("winding"), abs=0.3)
    assert ambient == pytest.approx(served.rig.temperature("ambient"), abs=0.3)
    assert meter.numbers("MEAS:TEMP? (@2)")[0] == pytest.approx(ambient, abs=0.2)
    assert meter.numbers("MEAS:SCAL:TEMP?")[0] == pytest.approx(winding, abs=0.2)


def test_there_is_no_third_probe(connect):
    meter = connect("thermometer")
    meter.send("MEAS:TEMP? (@3)")
    assert meter.ask("SYST:ERR?") == '-222,"Data out of range"'
