"""Windings and Hall outputs as circuits: the netlists are ours, ngspice solves them.

Source: ngspice (Debian's package, 39 and later), run as a batch: sources, R, L, K, S elements, transient and
operating point. Nothing here computes a terminal voltage.
"""

import subprocess
from dataclasses import dataclass, field, replace

import numpy as np

LEADS = ("a", "b", "c")
PAIRS = (("a", "b"), ("b", "c"), ("c", "a"))
METER = 10e6  # ohm, input of one channel


@dataclass(frozen=True)
class Timing:
    """Speed of the shaft, and the samples that are taken once the circuit has settled."""

    rpm: float = 6000.0
    pole_pairs: int = 4
    periods: int = 16
    samples: float = 200.0  # per period

    @property
    def frequency(self):
        return self.rpm / 60 * self.pole_pairs

    @property
    def interval(self):
        return 1 / (self.frequency * self.samples)

    @property
    def size(self):
        """Number of samples."""
        return int(self.periods * self.samples)


@dataclass(frozen=True)
class Coil:
    """One winding: sine EMFs by order (V peak), resistance and inductance; `turns` scales the EMF alone."""

    volts: dict = field(default_factory=lambda: {1: 10.0})
    ohm: float = 0.4
    henry: float = 0.3e-3
    turns: float = 1.0
    turned_deg: float = 0.0

    def elements(self, name, plus, minus, timing):
        """Netlist lines from lead `plus` to `minus`."""
        return [*self.sources(name, f"{name}e", minus, timing, self.turns),
                f"R{name} {plus} {name}l {self.ohm}", f"L{name} {name}l {name}e {self.henry}"]

    def sources(self, name, plus, minus, timing, share):
        """EMFs of all orders in series, `share` of the winding's."""
        turn = 120.0 * "abc".index(name[1]) + self.turned_deg
        nodes = [plus, *(f"{name}{order}" for order in self.volts)]
        nodes[-1] = minus
        return [f"V{name}{order} {nodes[i]} {nodes[i + 1]} "
                f"SIN(0 {share * peak:.9g} {order * timing.frequency:.9g} 0 0 {-order * turn % 360:.9g})"
                for i, (order, peak) in enumerate(self.volts.items())]


@dataclass(frozen=True)
class ShortedCoil(Coil):
    """A winding of which `share` of the turns is shorted by a link of 1 microhm."""

    share: float = 0.1
    coupling: float = 0.9

    def elements(self, name, plus, minus, timing):
        whole, part = 1 - self.share, self.share
        return [*self.sources(f"{name}", f"{name}e", f"{name}t", timing, whole),
                f"R{name} {plus} {name}l {whole * self.ohm}", f"L{name} {name}l {name}e {whole**2 * self.henry}",
                *self.sources(f"s{name[1]}", f"{name}se", minus, timing, part),
                f"R{name}s {name}t {name}sl {part * self.ohm}",
                f"L{name}s {name}sl {name}se {part**2 * self.henry}",
                f"K{name} L{name} L{name}s {self.coupling}", f"R{name}link {name}t {minus} 1e-6"]


@dataclass(frozen=True)
class TrapezoidCoil(Coil):
    """A winding whose EMF has straight ramps, `ramp_deg` from its zero to its flat top of `volts[1]`."""

    ramp_deg: float = 30.0

    def sources(self, name, plus, minus, timing, share):
        period = 1 / timing.frequency
        ramp = 2 * self.ramp_deg / 360 * period
        delay = (120.0 * "abc".index(name[1]) - self.ramp_deg) / 360 * period
        top = share * self.volts[1]
        return [f"V{name} {plus} {minus} PULSE({-top:.9g} {top:.9g} {delay % period:.12g} {ramp:.12g} {ramp:.12g} "
                f"{period / 2 - ramp:.12g} {period:.12g})"]


def star(coils, timing):
    """Netlist of windings from leads a, b, c to the star point n."""
    lines = [line for lead, coil in zip(LEADS, coils, strict=True)
             for line in coil.elements(f"w{lead}", lead, "n", timing)]
    return [*lines, "Rearth n 0 1g"]


def delta(coils, timing):
    """Netlist of windings ab, bc, ca in a ring."""
    lines = [line for (plus, minus), coil in zip(PAIRS, coils, strict=True)
             for line in coil.elements(f"w{plus}", plus, minus, timing)]
    return [*lines, "Rearth a 0 1g"]


def meters(ohms=(METER,) * 3):
    """Netlist of a resistance across each pair of leads: channels, or a load."""
    return [f"Rm{plus} {plus} {minus} {ohm}" for (plus, minus), ohm in zip(PAIRS, ohms, strict=True)]


def halls(placed_deg, timing, way=1, pull_up=10e3, cable=1e-9):
    """Netlist of three open-collector outputs ha, hb, hc with pull-ups to 5 V and the capacitance of their cable.

    Sensor k is high for half a turn from 120 k + placed_deg[k] of the rotor; e of winding a crosses zero at 30 degrees.
    """
    period, lines = 1 / timing.frequency, ["Vcc vcc 0 5", ".model collector sw(vt=0.5 vh=0 ron=100 roff=1g)"]
    for k, (lead, placed) in enumerate(zip(LEADS, placed_deg, strict=True)):
        rises = 120 * k + placed - 30 if way > 0 else 30 - 120 * k - placed - 180
        at = rises % 360 / 360 * period
        lines += [f"Vh{lead} g{lead} 0 PULSE(1 0 {at:.12g} 5n 5n {period / 2:.12g} {period:.12g})",
                  f"Sh{lead} h{lead} 0 g{lead} 0 collector", f"Rh{lead} vcc h{lead} {pull_up}",
                  f"Ch{lead} h{lead} 0 {cable}"]
    return lines


def transient(netlist, timing, folder):
    """Values (n,) by node ("a") or current ("i(lwa)") over whole periods, after one to settle."""
    settled, step = 1 / timing.frequency, timing.interval
    stop = settled + timing.size * step
    solved = _solve(netlist, f"tran {step:.12g} {stop:.12g} {settled:.12g} {step / 4:.12g}\nlinearize", folder)
    return {name: values[:timing.size] for name, values in solved.items()}


def _solve(netlist, analysis, folder):
    text = ["windings", *netlist, ".options method=gear reltol=1e-6 abstol=1e-12 vntol=1e-9",
            ".control", analysis, "write windings.raw", "quit", ".endc", ".end"]
    (folder / "windings.cir").write_text("\n".join(text) + "\n")
    (folder / "windings.raw").unlink(missing_ok=True)
    run = subprocess.run(["ngspice", "-b", "windings.cir"], cwd=folder, check=False,
                         capture_output=True, text=True, timeout=60)
    assert run.returncode == 0, run.stdout + run.stderr
    return _read_raw((folder / "windings.raw").read_bytes())


def lines_of(solved):
    """Line-to-line voltages (3, n)."""
    return np.array([solved[plus] - solved[minus] for plus, minus in PAIRS])


def resistances(build, coils, folder):
    """Ohm between each pair of leads: the operating point with a test current of 1 A, the shaft at rest."""
    netlist, found = [*build([replace(coil, volts={1: 0.0}) for coil in coils], Timing()), *meters()], {}
    for plus, minus in PAIRS:
        solved = _solve([*netlist, f"Itest {minus} {plus} DC 1"], "op", folder)
        found[plus + minus] = float(solved[plus][0] - solved[minus][0])
    return found


def _read_raw(raw):
    """The one plot of a binary raw file: names from its header, then one row of doubles a point."""
    header, _, values = raw.partition(b"Binary:\n")
    rows = header.decode().splitlines()
    start = rows.index("Variables:") + 1
    names = [row.split()[1] for row in rows[start:]]
    table = np.frombuffer(values, dtype=np.float64).reshape(-1, len(names))
    return {name[2:-1] if name.startswith("v(") else name: table[:, i] for i, name in enumerate(names)}
