"""An instrument whose power failed for a moment says so, although its connection stayed."""

import pytest

from station.errors import BenchError
from station.simulated.fault_plan import Fault

RESTART = Fault("restart")


@pytest.mark.parametrize("role", ["supply", "ohmmeter", "thermometer", "insulation", "digitizer", "guard"])
def test_restart_is_noticed_in_every_tongue(role, station):
    bench, _, served, clock = station
    bench.require_fit(clock, 0.0)
    bench.require_unrestarted()
    served._breakage.strike(role, RESTART)
    with pytest.raises(BenchError, match=rf"{role} at .*has restarted.*mains"):
        bench.require_unrestarted()
    bench.require_unrestarted()     # told once; the run that was hit is over


def test_restart_between_two_runs_is_history(station):
    bench, _, served, clock = station
    bench.require_fit(clock, 0.0)
    served._breakage.strike("supply", RESTART)
    bench.require_fit(clock, 0.0)
    bench.require_unrestarted()


def test_what_nobody_has_spoken_to_is_not_asked(station):
    bench, _, served, _ = station
    served._breakage.strike("supply", RESTART)
    bench.require_unrestarted()
    bench.supply.off()              # connecting makes what was before it history
    bench.require_unrestarted()

