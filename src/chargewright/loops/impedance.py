# ruff: noqa: E741 - l is inductance, as the trade has it
"""What hangs on the two ports of a stage: source and cable, capacitors, pack, loads, as impedances over frequency.

`s` is the complex frequency j·2·π·f, of shape (f,); the parts may be arrays of shape (n, 1), and results are (n, f).
"""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from chargewright.base.relation import relation
from chargewright.base.units import Farads, Henries, Ohms, Volts, Watts

PerSecond = Annotated[Any, "1/s"]
Siemens = Annotated[Any, "1/ohm"]


@relation
def bank_admittance(c: Farads, esr: Ohms, s: PerSecond) -> Siemens:
    """Return the admittance of capacitors with their series resistance.

        y = s·c/(1 + s·c·esr)

    c   : capacitance [F]
    esr : series resistance [Ω]
    s   : complex frequency [1/s]
    returns the admittance [1/Ω]; all arguments broadcast.

    Holds below the frequency at which the series inductance counts.

    Source: derived here: resistance and capacitance in series.
    """
    x = s * c
    return x / (1.0 + x * esr)


@relation
def branch_impedance(r: Ohms, l: Henries, r_1: Ohms, c_1: Farads, s: PerSecond) -> Ohms:
    """Return the impedance of a cable, or of a pack: resistance and inductance in series with one R-C pair.

        z = r + s·l + r_1/(1 + s·r_1·c_1)

    r   : resistance at once [Ω]
    l   : inductance [H]
    r_1 : resistance of the R-C pair, 0 for none [Ω]
    c_1 : capacitance of the R-C pair [F]
    s   : complex frequency [1/s]
    returns the impedance [Ω]; all arguments broadcast.

    Holds for small changes around one state of charge and temperature; the voltage behind it stands still.

    Source: G. L. Plett, Battery Management Systems, vol. I, Artech House 2015, ch. 2 (equivalent circuit of a cell;
    from memory).
    """
    return r + s * l + r_1 / (1.0 + s * (r_1 * c_1))


@relation
def constant_power_resistance(v: Volts, p: Watts) -> Ohms:
    """Return the resistance that a load of constant power shows to small changes: a negative one.

        r = −v²/p

    v : voltage across the load [V]
    p : power that it takes [W]
    returns the resistance, negative [Ω]; all arguments broadcast.

    Holds below the bandwidth of the converter that keeps the power constant.

    Source: R. D. Middlebrook, Input filter considerations in design and application of switching regulators, IEEE
    Industry Applications Society annual meeting, 1976 (from memory).
    """
    return -(v**2) / p


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """A voltage that stands still, behind resistance, inductance and one R-C pair: a source with cable, or a pack."""

    r: Any
    l: Any = 0.0
    r_1: Any = 0.0
    c_1: Any = 0.0

    def impedance(self, s: Any) -> Any:
        """Return the impedance [Ω]."""
        return branch_impedance.raw(self.r, self.l, self.r_1, self.c_1, s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Port:
    """One side of a stage. `branch` is None where nothing feeds or takes there but capacitors and load."""

    c: Any
    """Capacitors at the stage [F]."""
    esr: Any
    branch: Branch | None = None
    c_damp: Any = 0.0
    """Damping capacitor beside them [F]."""
    r_damp: Any = 0.0
    g_load: Any = 0.0
    """Conductance of what else hangs there: 1/R of a resistance, −P/V² of a constant power [1/Ω]."""
    r_sense: Any = 0.0
    """Share of the branch's resistance between the stage and the point where its voltage is sensed [Ω]."""

    def impedance(self, s: Any, z_branch: Any = None) -> Any:
        """Return the impedance that the stage sees [Ω]."""
        y = bank_admittance.raw(self.c, self.esr, s) + self.g_load
        if np.any(self.c_damp):
            y = y + bank_admittance.raw(self.c_damp, self.r_damp, s)
        if self.branch is not None:
            y = y + 1.0 / (self.branch.impedance(s) if z_branch is None else z_branch)
        return 1.0 / y
