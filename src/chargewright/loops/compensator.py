"""Error amplifiers as they are built, and their design to a crossover and a phase margin with values that are sold."""

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from chargewright.base.errors import OutOfRange
from chargewright.base.relation import relation
from chargewright.base.units import Farads, Ohms
from chargewright.loops.impedance import PerSecond, Siemens
from chargewright.loops.shaping import k_factor_one_lead, k_factor_two_leads
from chargewright.physics.series import Series, nearest_preferred

Kind = Literal["PI", "type 2", "type 3"]
MOST_BOOST = {"PI": np.radians(85.0), "type 2": np.radians(85.0), "type 3": np.radians(165.0)}
"""Phase [rad] that each amplifier can add to that of an integrator; beyond, zero and pole lie too far apart to be built
(common practice)."""
_LOW_ZERO = 10.0


@relation
def network_impedance(r_z: Ohms, c_z: Farads, c_p: Farads, r_out: Ohms, s: PerSecond) -> Ohms:
    """Return what a transconductance amplifier works into: r_z and c_z in series, c_p and its own resistance beside.

        z = 1/(s·c_z/(1 + s·r_z·c_z) + s·c_p + 1/r_out)

    r_z   : resistor of the zero [Ω]
    c_z   : capacitor of the zero [F]
    c_p   : capacitor of the pole, 0 for none [F]
    r_out : output resistance of the amplifier [Ω]
    s     : complex frequency [1/s]
    returns the impedance [Ω]; all arguments broadcast.

    Holds while the amplifier is not at a limit.

    Source: derived here: impedances in parallel.
    """
    return 1.0 / (s * c_z / (1.0 + s * (r_z * c_z)) + s * c_p + 1.0 / r_out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Transconductance:
    """A current of `gm` times the error into a network to ground: PI without `c_p`, type 2 with it."""

    gm: Siemens
    r_z: Any
    c_z: Any
    c_p: Any = 0.0
    r_out: Any = 1e8

    def gain(self, s: Any) -> Any:
        """Return control voltage over error [1]."""
        return self.gm * network_impedance.raw(self.r_z, self.c_z, self.c_p, self.r_out, s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Inverting:
    """An operational amplifier: r_1, with r_3 and c_3 beside it, in; r_2 and c_1 in series, with c_2 beside them, back.

    Type 3; type 2 without `c_3`. Error counted so that the gain is positive.
    """

    r_1: Any
    r_2: Any
    c_1: Any
    c_2: Any
    r_3: Any = 0.0
    c_3: Any = 0.0

    def gain(self, s: Any) -> Any:
        """Return control voltage over error [1]."""
        back = network_impedance.raw(self.r_2, self.c_1, self.c_2, np.inf, s)
        into = s * self.c_3 / (1.0 + s * (self.r_3 * self.c_3)) + 1.0 / self.r_1
        return back * into


Amplifier = Transconductance | Inverting


@dataclass(frozen=True, slots=True, kw_only=True)
class Designed:
    """An amplifier, ideal and as it can be built."""

    kind: Kind
    boost: float
    """Phase added to that of an integrator at crossover, in radians [1]."""
    k: float
    exact: Amplifier
    built: Amplifier


def design(
    size: float,
    phase: float,
    f_cross: float,
    phase_margin: float,
    *,
    gm: float | None = 1e-4,
    r_1: float = 1e4,
    kind: Kind | None = None,
    series_r: Series = "E96",
    series_c: Series = "E12",
) -> Designed:
    """Return the amplifier that gives a loop its crossover and phase margin.

    size         : of the gain of everything else in the loop at the crossover [1]
    phase        : of that gain, unwrapped from low frequency, delay included, in radians [1]
    f_cross      : wanted crossover [Hz]
    phase_margin : wanted margin there, in radians [1]
    gm           : transconductance of the amplifier [1/Ω]; None for an operational amplifier, as a type 3 always is
    r_1          : input resistor of an operational amplifier [Ω]
    kind         : None takes the simplest that can

    Raises OutOfRange if the boost of phase that is needed cannot be had.

    Source: H. D. Venable, The k factor, Powercon 10, 1983 (from memory).
    """
    boost = phase_margin - phase - np.pi / 2.0
    if kind is None:
        kind = "type 2" if boost <= MOST_BOOST["type 2"] else "type 3"
    if boost > MOST_BOOST[kind]:
        raise OutOfRange(
            f"at {f_cross:.4g} Hz the loop would need {np.degrees(boost):.0f} degrees of boost, "
            f"a {kind} amplifier gives {np.degrees(MOST_BOOST[kind]):.0f}: take a lower crossover"
        )
    w = 2.0 * np.pi * f_cross
    need = 1.0 / size
    if kind == "type 3":
        k = float(k_factor_two_leads(max(boost, 0.0)))
        exact: Amplifier = _inverting_type_3(w, need, k, r_1)
    elif kind == "PI":
        k = float(np.tan(np.clip(boost, 0.02, np.pi / 2.0 - 0.02)))  # crossover over zero
        exact = _transconductance(w, need, gm or 1.0 / r_1, k, np.inf)
    else:
        k = max(float(k_factor_one_lead(max(boost, 0.0))), 1.0 + 1e-3)
        exact = _inverting_type_2(w, need, k, r_1) if gm is None else _transconductance(w, need, gm, k, k)
    return Designed(kind=kind, boost=float(boost), k=k, exact=exact, built=_rounded(exact, series_r, series_c))


def with_low_zero(made: Designed) -> Designed:
    """Return the amplifier with its integrator's zero ten times lower; above its other zero it stays as it is.

    A stage that holds a bus alone crosses a hundred times lower at light load, where its conduction is discontinuous,
    than at full load. There the integrator and the bus's own slow pole would lag together; with the integrator's share
    ending below, they do not. The price is a tenth of the gain at low frequency. Ten keeps preferred values preferred.

    Source: derived here: a zero at 1/(2·π·r·c) moves with c, and the gain above it, r over the input, does not.
    """
    return replace(made, exact=_slower(made.exact), built=_slower(made.built))


def _slower(a: Amplifier) -> Amplifier:
    if isinstance(a, Transconductance):
        return replace(a, c_z=_LOW_ZERO * a.c_z)
    return replace(a, c_1=_LOW_ZERO * a.c_1)


def most_margin(phase: float) -> float:
    """Return the greatest phase margin [rad] that any amplifier can give a loop whose other parts have this phase."""
    return float(MOST_BOOST["type 3"] + phase + np.pi / 2.0)


def _transconductance(w: float, need: float, gm: float, over_zero: float, pole_over: float) -> Transconductance:
    """Zero at w/over_zero, pole at w·pole_over; |gain| at w is `need`."""
    zero, pole = w / over_zero, w * pole_over
    size = np.abs((1.0 + 1j * over_zero) / (1.0 + 1j / pole_over)) / w
    c_sum = gm * size / need
    c_p = c_sum * zero / pole
    c_z = c_sum - c_p
    return Transconductance(gm=gm, r_z=1.0 / (zero * c_z), c_z=c_z, c_p=c_p)


def _inverting_type_2(w: float, need: float, k: float, r_1: float) -> Inverting:
    of = _transconductance(w, need, 1.0 / r_1, k, k)
    return Inverting(r_1=r_1, r_2=of.r_z, c_1=of.c_z, c_2=of.c_p)


def _inverting_type_3(w: float, need: float, k: float, r_1: float) -> Inverting:
    root = np.sqrt(k)
    # Both zeros at w/√k and both poles at w·√k: the second pair adds √k in size to the type 2 of the same places.
    of = _transconductance(w, need / root, 1.0 / r_1, root, root)
    c_3 = (k - 1.0) / (w * root * r_1)
    r_3 = 1.0 / (w * root * c_3)
    return Inverting(r_1=r_1, r_2=of.r_z, c_1=of.c_z, c_2=of.c_p, r_3=r_3, c_3=c_3)


def _rounded(a: Amplifier, series_r: Series, series_c: Series) -> Amplifier:
    def near(value: float, name: Series) -> float:
        return float(nearest_preferred(value, name)) if value > 0.0 else value

    if isinstance(a, Transconductance):
        return Transconductance(
            gm=a.gm, r_z=near(a.r_z, series_r), c_z=near(a.c_z, series_c), c_p=near(a.c_p, series_c), r_out=a.r_out
        )
    return Inverting(
        r_1=near(a.r_1, series_r),
        r_2=near(a.r_2, series_r),
        c_1=near(a.c_1, series_c),
        c_2=near(a.c_2, series_c),
        r_3=near(a.r_3, series_r),
        c_3=near(a.c_3, series_c),
    )
