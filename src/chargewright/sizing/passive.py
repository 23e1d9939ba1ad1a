"""Capacitor banks: how many of which part hold the ripple and carry the current on each side of the stage."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chargewright.parts.capacitor import Capacitor
from chargewright.parts.kind import Catalogue
from chargewright.physics.capacitor import (
    biased_capacitance,
    esr_ripple,
    switched_voltage_ripple,
    triangle_voltage_ripple,
)
from chargewright.physics.conduction import resistive_loss
from chargewright.sizing.demand import Demand
from chargewright.sizing.tables import Run

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

BANK_MOST = 24
"""Parts in one bank, at most: beyond that the board's own inductance decides (common practice)."""
_SPARE = 1.02
"""Banks are counted on the waveform with reference switches; the real ones move it by less than this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BankDuty:
    """What one side of the stage asks of its capacitors, arrays (sets, corners)."""

    charge: Floats
    """Charge that goes in and out in each pulse [C]: ripple times capacitance."""
    i_pp: Floats
    """Peak-to-peak current [A]."""
    i_rms: Floats
    v: Floats
    """(corners,) voltage of the side."""
    lasting: npt.NDArray[np.bool_]
    v_max: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BankChoice:
    """The bank of one side for each set; `part` is -1 where no bank will do."""

    part: Ints
    count: Ints
    esr: Floats
    cost: Floats
    area: Floats


def bank_duties(found: Run, demand: Demand) -> tuple[BankDuty, BankDuty]:
    """Return what the source side and the pack side ask of their capacitors.

    The side's switch conducts for a share s of the period. A capacitor beside it sees that pulse without its mean
    (`switched_voltage_ripple`), and the ripple that rides on the pulse (`triangle_voltage_ripple`); the sum bounds the
    real ripple from above and is exact where one of the two vanishes. Light load: the share shrinks with the pulse,
    and the rate falls with the pulses left out.
    """
    points, w = found.points, found.wave
    active, rate = np.maximum(w.active, 1e-9), np.maximum(w.rate, 1.0)
    sides = {}
    for name, share, rms in (("in", w.d_in, w.rms_in_capacitor), ("out", 1.0 - w.d_out, w.rms_out_capacitor)):
        duty = np.clip(share, 0.0, 1.0)
        pulsed = np.clip(duty * active, 0.0, 1.0)
        charge = switched_voltage_ripple(found.i_l / active, pulsed, 1.0, rate)
        charge = charge + triangle_voltage_ripple(w.di_pp * pulsed, 1.0, rate)
        sides[name] = (charge, np.where(duty < 1.0, w.i_peak, w.di_pp), rms)
    turned = points.reverse
    duties = []
    for ahead, back, v, v_max in (
        ("in", "out", np.where(turned, points.v_out, points.v_in), demand.stage.v_a_max),
        ("out", "in", np.where(turned, points.v_in, points.v_out), demand.stage.v_b_max),
    ):
        charge, i_pp, rms = (np.where(turned, b, a) for a, b in zip(sides[ahead], sides[back], strict=True))
        duties.append(BankDuty(charge=charge, i_pp=i_pp, i_rms=rms, v=v, lasting=points.lasting, v_max=v_max))
    return duties[0], duties[1]


def ripple(duty: BankDuty, c: Floats, esr: Floats) -> Floats:
    """Return the ripple over the voltage of the side [1] at each corner for a bank's capacitance and resistance.

    An upper bound: the peaks of both parts need not fall together.
    """
    return np.asarray((duty.charge / c + esr_ripple(duty.i_pp, esr)) / duty.v)


def choose_bank(duty: BankDuty, i_mean_square: Floats, parts: Catalogue[Capacitor], demand: Demand) -> BankChoice:
    """Return the bank that is worth least for each set.

    i_mean_square : (sets,) mean square of the capacitor current over the usual points [A²]
    Rules: ripple at biased capacitance and low tolerance, rms current, voltage; all with the design's derating.
    """
    rules, price = demand.rules, demand.exchange
    allowed = np.flatnonzero(duty.v_max <= rules.v_derating * parts.column("v_max"))
    n_sets = len(i_mean_square)
    none = np.zeros(n_sets)
    if not len(allowed) or not n_sets:
        empty = np.full(n_sets, -1, dtype=np.int64)
        return BankChoice(part=empty, count=empty, esr=none, cost=none, area=none)
    col = {k: parts.column(k)[allowed] for k in ("c_0", "tol_c", "esr", "v_half", "bias_exponent", "i_rms_max")}
    cost, area = parts.column("cost")[allowed], parts.column("area")[allowed]
    low = (1.0 - col["tol_c"]) * col["c_0"]
    c = biased_capacitance(low[:, None], duty.v[None, :], col["v_half"][:, None], col["bias_exponent"][:, None])
    rms_most = np.max(duty.i_rms[:, duty.lasting], axis=1, initial=0.0)
    # Both parts of the ripple fall as one over the count, so the count follows without trying.
    asked = (duty.charge[:, None, :] / c[None] + duty.i_pp[:, None, :] * col["esr"][None, :, None]) / (
        rules.bus_ripple * duty.v
    )
    need = np.maximum(asked.max(axis=2), rms_most[:, None] / (rules.i_derating * col["i_rms_max"]))
    count = np.maximum(np.ceil(need * _SPARE), 1.0)
    worth = price.score(resistive_loss(np.sqrt(i_mean_square)[:, None], col["esr"] / count), count * cost, count * area)
    worth = np.where(count <= BANK_MOST, worth, np.inf)
    best = np.argmin(worth, axis=1)
    rows = np.arange(n_sets)
    number = count[rows, best]
    return BankChoice(
        part=np.where(np.isfinite(worth[rows, best]), allowed[best], -1),
        count=number.astype(np.int64),
        esr=col["esr"][best] / number,
        cost=number * cost[best],
        area=number * area[best],
    )
