"""Parts as tables that the compiled sweep takes, and the losses of many sets of parts at many points."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.network.hardware import ABSENT, COPPER_TEMP_CO, switch_at_25
from chargewright.network.solve import heat_of
from chargewright.network.stage import CoilAt, Setting, StageLosses, StageWaveform, SwitchAt, duties
from chargewright.network.sweep import COLUMNS, sweep
from chargewright.parts.catalogue import Parts
from chargewright.physics.conduction import resistance_at
from chargewright.sizing.arrays import joined, taken
from chargewright.sizing.build import R_DRIVER, coil_at_25, setting_of
from chargewright.sizing.demand import Demand, Points

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

PLACES = ("a_high", "a_low", "b_low", "b_high")
"""Switch positions in the order of the design rows."""
_SWITCH, _COIL = len(SwitchAt._fields), len(CoilAt._fields)
_R_DC = 4 * _SWITCH + CoilAt._fields.index("r_dc")
_L_0 = 4 * _SWITCH + CoilAt._fields.index("l_0")
_I_SAT = 4 * _SWITCH + CoilAt._fields.index("i_sat")
_LEGS = 4 * _SWITCH + _COIL + Setting._fields.index("legs")
_ESR_IN = 4 * _SWITCH + _COIL + Setting._fields.index("esr_in")
_ESR_OUT = 4 * _SWITCH + _COIL + Setting._fields.index("esr_out")
_TURNED = np.arange(COLUMNS)
for _k in range(4):
    _TURNED[_k * _SWITCH : (_k + 1) * _SWITCH] = np.arange(_SWITCH) + (3 - _k) * _SWITCH
_TURNED[_ESR_IN], _TURNED[_ESR_OUT] = _ESR_OUT, _ESR_IN
_SURE_BUCK = 0.75
"""Output over input below which a four-switch stage only bucks, whatever its drops: the output leg rests."""
HARD_SATURATION = 5.0
"""Saturation exponent from which a core counts as ferrite: catalogue columns say 2.5 to 3 composite, 8 ferrite."""
FERRITE_HOT = 0.8
"""What is left at 100 °C of a ferrite inductor's saturation current at 25 °C: power ferrites lose about a fifth of
their saturation flux density on the way (common practice). Metal-powder composites hardly change."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Many sets of parts: index arrays of one length into the tables."""

    places: Ints
    """(sets, 4) switch of each position; the last row of the table where a leg is absent."""
    coil: Ints
    f_sw: Ints
    esr: Floats
    """(sets, 2) series resistance of the source-side and the pack-side capacitors [Ω]."""

    def __len__(self) -> int:
        return len(self.coil)

    def exchanged(self, place: Ints, switch: Ints) -> "Choice":
        """Return each set with one other switch: `switch` in position `place`, arrays over the sets."""
        places = self.places.copy()
        places[np.arange(len(self)), place] = switch
        return replace(self, places=places)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """The catalogue as the stage takes it, at 25 °C, and how the stage is driven."""

    switch: Floats
    """(switches + 1, fields of SwitchAt); the last row is an absent leg."""
    switch_temp_co: Floats
    coil: Floats
    coil_tol: Floats
    f_sw: Floats
    setting: Setting
    one_leg: bool

    @property
    def active(self) -> tuple[int, ...]:
        """Positions that exist."""
        return (0, 1) if self.one_leg else (0, 1, 2, 3)


def tables(demand: Demand, parts: Parts) -> Tables:
    """Return the catalogue in the form of the design rows."""
    v = demand.rules.v_drive
    switches = [switch_at_25(s, R_DRIVER, v) for s in parts.switches] + [ABSENT]
    one_leg = demand.stage.legs == "buck"
    setting = setting_of(demand.rules, 0.0, 0.0, 0.0)._replace(legs=1.0 if one_leg else 0.0)
    return Tables(
        switch=np.array(switches, dtype=float),
        switch_temp_co=np.append(parts.switches.column("r_on_temp_co"), 0.0),
        coil=np.array([coil_at_25(c) for c in parts.inductors], dtype=float),
        coil_tol=parts.inductors.column("tol_l"),
        f_sw=np.array(demand.f_sw),
        setting=setting,
        one_leg=one_leg,
    )


def rows_of(t: Tables, choice: Choice, temp_switch: Any, temp_coil: Any, worst_coil: bool = False) -> Floats:
    """Return design rows of sets of parts at their temperatures.

    temp_switch : one temperature, or (sets, 4) [K]
    temp_coil   : one temperature, or (sets,) [K]
    worst_coil  : whether inductance stands at its low tolerance, and saturation where the core is hot
    """
    n = len(choice)
    rows = np.empty((n, COLUMNS))
    at = np.broadcast_to(temp_switch, (n, 4))
    for k in range(4):
        which = choice.places[:, k]
        block = rows[:, k * _SWITCH : (k + 1) * _SWITCH]
        block[:] = t.switch[which]
        block[:, 0] = resistance_at(block[:, 0], t.switch_temp_co[which], at[:, k])
    rows[:, 4 * _SWITCH : 4 * _SWITCH + _COIL] = t.coil[choice.coil]
    rows[:, _R_DC] = resistance_at(rows[:, _R_DC], COPPER_TEMP_CO, temp_coil)
    if worst_coil:
        rows[:, _L_0] *= 1.0 - t.coil_tol[choice.coil]
        rows[:, _I_SAT] *= hot_saturation(t, choice.coil)
    rows[:, 4 * _SWITCH + _COIL :] = np.array(t.setting)
    rows[:, 4 * _SWITCH + _COIL + Setting._fields.index("f_sw")] = t.f_sw[choice.f_sw]
    rows[:, _ESR_IN], rows[:, _ESR_OUT] = choice.esr[:, 0], choice.esr[:, 1]
    return rows


def hot_saturation(t: Tables, coil: Any) -> Floats:
    """Return what is left of the saturation current when the core is hot [1]."""
    exponent = t.coil[coil, CoilAt._fields.index("sat_exponent")]
    return np.where(exponent >= HARD_SATURATION, FERRITE_HOT, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Sets of parts at points: arrays (sets, points); in and out are the sides of the power flow at each point."""

    points: Points
    i_l: Floats
    losses: StageLosses
    wave: StageWaveform
    total: Floats
    """Loss of the stage [W]."""

    def heat(self) -> Floats:
        """Return the heat [W] by place, (5, sets, points): the four switch positions and the inductor."""
        ahead, back = heat_of(self.losses, False), heat_of(self.losses, True)
        return np.stack([np.where(self.points.reverse, back[k], ahead[k]) for k in (*PLACES, "coil")])

    def rms(self) -> Floats:
        """Return the rms current [A] by place, (5, sets, points)."""
        w, turned = self.wave, self.points.reverse
        pairs = (
            (w.rms_in_high, w.rms_out_high),
            (w.rms_in_low, w.rms_out_low),
            (w.rms_out_low, w.rms_in_low),
            (w.rms_out_high, w.rms_in_high),
        )
        return np.stack([*(np.where(turned, back, ahead) for ahead, back in pairs), w.rms_coil])


def run(rows: Floats, points: Points, index: Ints | None = None) -> Run:
    """Return losses and waveforms of stages at points.

    index : (sets, points) which row each set uses at each point; by default the set's own row at every point
    """
    n, m = len(rows), len(points.v_in)
    own = np.broadcast_to(np.arange(n)[:, None], (n, m)) if index is None else index
    shape = own.shape
    turned = rows[:, _TURNED] if points.reverse.any() else rows[:0]
    turned[:, _LEGS] *= -1.0
    both = np.concatenate([rows, turned])
    which = (own + np.where(points.reverse, n, 0)).ravel()
    v_in, v_out, i_out = (np.broadcast_to(p, shape).ravel() for p in (points.v_in, points.v_out, points.i_out))
    i_l = i_out.copy()
    legs = both[which, _LEGS]
    lifts = np.flatnonzero((legs < -0.5) | ((legs < 0.5) & (v_out > _SURE_BUCK * v_in)))
    if len(lifts):
        i_l[lifts] = _lifted(both[which[lifts]], v_in[lifts], v_out[lifts], i_out[lifts])
    losses, waves = sweep(v_in, v_out, i_l, both, which, compile_from=0)
    return Run(
        points=points,
        i_l=i_l.reshape(shape),
        losses=StageLosses(*losses.T.reshape(len(StageLosses._fields), *shape)),
        total=losses.sum(axis=1).reshape(shape),
        wave=StageWaveform(*waves.T.reshape(len(StageWaveform._fields), *shape)),
    )


def _lifted(rows: Floats, v_in: Floats, v_out: Floats, i_out: Floats) -> Floats:
    """Return the mean coil current [A] that gives `i_out` where the output leg may switch; row, point by point."""
    column = rows.T
    ih, il, ol, oh = (SwitchAt(*column[k * _SWITCH : (k + 1) * _SWITCH]) for k in range(4))
    setting = Setting(*column[4 * _SWITCH + _COIL :])
    i_l = i_out / np.minimum(1.0, v_in / v_out)
    with np.errstate(divide="ignore", invalid="ignore"):
        for _ in range(3):
            _, d_out = duties(v_in, v_out, i_l, ih, il, ol, oh, column[_R_DC], setting)
            i_l = np.maximum(i_out / np.maximum(1.0 - np.clip(d_out, 0.0, 1.0), 0.02), 1e-6)
    return i_l


def merged(points: Points, weights: Floats) -> tuple[Points, Floats]:
    """Return the points without repetitions, and the summed weights."""
    table = np.stack([points.v_in, points.v_out, points.i_out, points.reverse, points.lasting], axis=1)
    unique, first, where = np.unique(table, axis=0, return_index=True, return_inverse=True)
    return taken(points, first), np.bincount(where.ravel(), weights=weights, minlength=len(unique)).astype(float)


def lasting_of(points: Points) -> Ints:
    """Return the points that last; all of them if none is marked so."""
    return np.flatnonzero(points.lasting) if points.lasting.any() else np.arange(len(points.lasting))


def heating_of(points: Points) -> Ints:
    """Return the lasting points that can be the hottest: of equal voltages and direction, the one of most current."""
    lasting = lasting_of(points)
    order = lasting[np.argsort(-points.i_out[lasting], kind="stable")]
    table = np.stack([points.v_in, points.v_out, points.reverse], axis=1)[order]
    _, first = np.unique(table, axis=0, return_index=True)
    return np.sort(order[first])


def together(first: Points, second: Points) -> Points:
    """Return the points of both, in this order."""
    return joined([first, second])
