"""Capacitor banks: how many of which part hold the ripple and carry the current on each side of the stage."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from chargewright.base.units import show
from chargewright.parts.capacitor import Capacitor
from chargewright.parts.catalogue import Parts
from chargewright.parts.kind import Catalogue
from chargewright.physics.capacitor import biased_capacitance, esr_ripple
from chargewright.physics.conduction import resistive_loss
from chargewright.sizing.demand import Demand
from chargewright.sizing.pass_elements import derated
from chargewright.sizing.pulse_charge import pulse_charge
from chargewright.sizing.records import Side
from chargewright.sizing.ruling import Ruling, most_over, rating
from chargewright.sizing.stage_rules import Heat
from chargewright.sizing.tables import Run, lasting_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

SIDES: tuple[Side, Side] = ("source", "pack")
_WARMER = 3.0
"""The board may be warmer than with reference switches [K]."""
BANK_MOST = 24
"""Parts in one bank, at most: beyond that the board's own inductance decides (common practice)."""
_SPARE = 1.02
"""Banks are counted on the waveform with reference switches; the real ones move it by less than this (judged later)."""


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
    lasting: Ints
    """Corners that last."""
    rating: float
    """Voltage rating that is needed after derating [V]."""


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

    The side's switch carries the coil's current for its share of the period; see `pulse_charge`. At light load the
    share shrinks with the pulse, and the rate falls with the pulses left out. Where both legs switch, the ramp is taken
    to be straight.
    """
    points, w = found.points, found.wave
    active, rate = np.maximum(w.active, 1e-9), np.maximum(w.rate, 1.0)
    sides = {}
    for name, share, rms in (("in", w.d_in, w.rms_in_capacitor), ("out", 1.0 - w.d_out, w.rms_out_capacitor)):
        duty = np.clip(share, 0.0, 1.0)
        pulsed = np.clip(duty * active, 0.0, 1.0)
        charge = pulse_charge(found.i_l / active, w.di_pp, pulsed, rate)
        sides[name] = (charge, np.where(duty < 1.0, w.i_peak, w.di_pp), rms)
    turned, share = points.reverse, demand.rules.v_derating
    duties = []
    for ahead, back, v, v_max in (
        ("in", "out", np.where(turned, points.v_out, points.v_in), demand.stage.v_a_max),
        ("out", "in", np.where(turned, points.v_in, points.v_out), demand.stage.v_b_max),
    ):
        charge, i_pp, rms = (np.where(turned, b, a) for a, b in zip(sides[ahead], sides[back], strict=True))
        duties.append(
            BankDuty(charge=charge, i_pp=i_pp, i_rms=rms, v=v, lasting=lasting_of(points), rating=derated(v_max, share))
        )
    return duties[0], duties[1]


def ripple(duty: BankDuty, c: Floats, esr: Floats) -> Floats:
    """Return the ripple over the voltage of the side [1] at each corner for a bank's capacitance and resistance.

    An upper bound: the peaks of both parts need not fall together.
    """
    return np.asarray((duty.charge / c + esr_ripple(duty.i_pp, esr)) / duty.v)


def capacitor_rulings(
    worst: Run, banks: tuple[BankChoice, BankChoice], heat: Heat, parts: Parts, demand: Demand
) -> list[Ruling]:
    """Return the rules on the capacitors of both sides; `banks` holds one bank for each set.

    The hottest board has to stay below the capacitors' limit; their own heat is small and in the board's.
    """
    rules, ambient = demand.rules, demand.stage.temp_ambient
    found = []
    for side, duty, bank in zip(SIDES, bank_duties(worst, demand), banks, strict=True):
        where, count = f"{side}-side capacitors", bank.count[:, None]
        column = {name: parts.capacitors.column(name)[bank.part] for name in ("v_max", "i_rms_max", "temp_max")}
        c = effective_capacitance(parts.capacitors, bank.part, duty.v) * count
        each = rules.i_derating * column["i_rms_max"]
        found += [
            most_over("voltage ripple", where, "1", ripple(duty, c, bank.esr[:, None]), rules.bus_ripple),
            most_over("capacitor current", where, "A", duty.i_rms / count, each, duty.lasting),
            rating("capacitor voltage", where, "V", column["v_max"], duty.rating),
            heat.rule("capacitor temperature", where, heat.board, column["temp_max"], ambient),
        ]
    return found


def effective_capacitance(parts: Catalogue[Capacitor], part: Ints, v: Floats) -> Floats:
    """Return what is left of capacitors `part` at voltages `v`, at the low end of their tolerance [F].

    part : (parts,); v : (corners,); returns (parts, corners)
    """
    c_0, tol, v_half, exponent = (parts.column(k)[part][:, None] for k in ("c_0", "tol_c", "v_half", "bias_exponent"))
    return np.asarray(biased_capacitance(c_0 * (1.0 - tol), v[None, :], v_half, exponent))


def choose_bank(
    duty: BankDuty, i_mean_square: Floats, temp_board: Floats, parts: Catalogue[Capacitor], demand: Demand
) -> BankChoice:
    """Return the bank that is worth least for each set.

    i_mean_square : (sets,) mean square of the capacitor current over the usual points [A²]
    temp_board    : (sets,) hottest board with reference switches [K]
    Rules: ripple at biased capacitance and low tolerance, rms current, voltage, temperature.
    """
    price = demand.exchange
    allowed = np.flatnonzero(parts.column("v_max") >= duty.rating)
    n_sets = len(i_mean_square)
    none = np.zeros(n_sets)
    if not len(allowed) or not n_sets:
        empty = np.full(n_sets, -1, dtype=np.int64)
        return BankChoice(part=empty, count=empty, esr=none, cost=none, area=none)
    esr = parts.column("esr")[allowed]
    cost, area = parts.column("cost")[allowed], parts.column("area")[allowed]
    count = np.maximum(np.ceil(_need(duty, allowed, parts, demand) * _SPARE), 1.0)
    worth = price.score(resistive_loss(np.sqrt(i_mean_square)[:, None], esr / count), count * cost, count * area)
    worth = np.where(count <= BANK_MOST, worth, np.inf)
    # Where none stands the heat, those that stand most stay: the judging decides, with the real switches.
    stands = np.where(np.isfinite(worth), parts.column("temp_max")[allowed], 0.0)
    enough = np.minimum(temp_board + _WARMER, stands.max(axis=1))
    worth = np.where(stands >= enough[:, None], worth, np.inf)
    best = np.argmin(worth, axis=1)
    rows = np.arange(n_sets)
    number = count[rows, best]
    return BankChoice(
        part=np.where(np.isfinite(worth[rows, best]), allowed[best], -1),
        count=number.astype(np.int64),
        esr=esr[best] / number,
        cost=number * cost[best],
        area=number * area[best],
    )


def _need(duty: BankDuty, part: Ints, parts: Catalogue[Capacitor], demand: Demand) -> Floats:
    """Return how many of each part (sets, parts) ripple and current ask for, not rounded.

    Both parts of the ripple fall as one over the count, so the count follows without trying.
    """
    rules = demand.rules
    c = effective_capacitance(parts, part, duty.v)
    alone = replace(duty, charge=duty.charge[:, None, :], i_pp=duty.i_pp[:, None, :])
    asked = ripple(alone, c[None], parts.column("esr")[part][None, :, None]).max(axis=2) / rules.bus_ripple
    rms = duty.i_rms[:, duty.lasting].max(axis=1)
    return np.asarray(np.maximum(asked, rms[:, None] / (rules.i_derating * parts.column("i_rms_max")[part])))


def no_bank(duties: tuple[BankDuty, BankDuty], parts: Catalogue[Capacitor], demand: Demand) -> str:
    """Return which rule left no capacitors, and by how much the best ones missed it."""
    for side, duty in zip(SIDES, duties, strict=True):
        allowed = np.flatnonzero(parts.column("v_max") >= duty.rating)
        if not len(allowed):
            highest = show(float(parts.column("v_max").max(initial=0.0)), "V")
            return (
                f"capacitor voltage: the {side} side needs a rating of {show(duty.rating, 'V')} after derating; "
                f"the highest on the list has {highest}"
            )
        need = _need(duty, allowed, parts, demand)
        least = float(need.min())
        if least * _SPARE > BANK_MOST:
            name = parts.record(int(allowed[np.unravel_index(np.argmin(need), need.shape)[1]])).name
            return (
                f"capacitor ripple and current: the {side} side needs {np.ceil(least):.0f} of the best part, {name}; "
                f"a bank has {BANK_MOST} at most"
            )
    return "capacitors: each side has a bank for some inductor and frequency, but both together for none"
