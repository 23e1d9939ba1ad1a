"""Evaluate the losses of one solved point again, with every relation recorded.

The solver's own steps run without recording, because they are many; here its result goes once through the same
functions. What comes out is compared with what the solver found, so a number is unfolded only if it is the one shown.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from chargewright.base.relation import Step, tracing
from chargewright.network.graph import WireKind
from chargewright.network.hardware import ABSENT, Hardware
from chargewright.network.solve import Solution
from chargewright.network.stage import CoilAt, StageLosses, SwitchAt, stage_point
from chargewright.physics.conduction import resistance_at, resistive_loss

AGREES = 1e-5
"""Relative difference up to which a number is the same; the solver stops well before anything moves by that much."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """One point of a solved state, evaluated again."""

    solution: Solution
    index: int
    steps: tuple[Step, ...]

    def wire_loss(self, key: WireKind) -> float:
        """Return the loss of a wire as the solver found it [W]."""
        return float(self.solution.wire_loss[key][self.index])

    def stage_loss(self, name: str) -> float:
        """Return one loss of the stage as the solver found it [W]."""
        return float(getattr(self.solution.losses, name)[self.index])


def replay(solution: Solution, hardware: Hardware, index: int) -> Replay:
    """Return point `index` of a solved state with the evaluations behind its losses."""
    with tracing() as steps:
        _wires(solution, hardware, index)
        mode = solution.state.stage
        if mode == "through":
            _through(solution, hardware, index)
        elif mode != "off":
            _switched(solution, hardware, index)
    return Replay(solution=solution, index=index, steps=tuple(steps))


def _wires(s: Solution, hw: Hardware, k: int) -> None:
    given: dict[str, Any] = {
        "source": s.conditions.r_source,
        "cable": s.conditions.r_cable,
        "pack": s.conditions.r_pack,
    }
    for key in s.wire_loss:
        if key == s.state.linear:
            continue
        if key in given:
            r = float(given[key][k])
        else:
            parts = hw.wires[key]
            r = float(resistance_at(float(parts.r_25), float(parts.temp_co), float(s.temp[key][k])))
        resistive_loss(float(s.i[key][k]), r)


def _hot(s: Solution, hw: Hardware, k: int, name: str) -> SwitchAt:
    part: SwitchAt | None = getattr(hw.stage, name)
    if part is None:
        return ABSENT
    r_on = resistance_at(float(part.r_on), float(hw.stage.hot[name].temp_co), float(s.temp[name][k]))
    return part._replace(r_on=float(r_on))


def _hot_coil(s: Solution, hw: Hardware, k: int) -> CoilAt:
    coil = hw.stage.coil
    r_dc = resistance_at(float(coil.r_dc), float(hw.stage.hot["coil"].temp_co), float(s.temp["coil"][k]))
    return coil._replace(r_dc=float(r_dc))


def _through(s: Solution, hw: Hardware, k: int) -> None:
    i = float(s.i_b[k])
    for r in (_hot(s, hw, k, "a_high").r_on, _hot(s, hw, k, "b_high").r_on, _hot_coil(s, hw, k).r_dc):
        resistive_loss(i, r)


def _switched(s: Solution, hw: Hardware, k: int) -> None:
    backwards = s.state.stage == "reverse"
    v_a, v_b = float(s.v[s.path.stage.a][k]), float(s.v[s.path.stage.b][k])
    i_out = -float(s.i_a[k]) if backwards else float(s.i_b[k])
    i_coil = max(i_out / max(1.0 - float(s.waveform.d_out[k]), 0.02), 1e-6)
    places = ("b_high", "b_low", "a_low", "a_high") if backwards else ("a_high", "a_low", "b_low", "b_high")
    v_in, v_out = (v_b, v_a) if backwards else (v_a, v_b)
    ih, il, ol, oh = (_hot(s, hw, k, place) for place in places)
    coil, setting = _hot_coil(s, hw, k), hw.stage.setting
    one_leg = 0.0 if s.path.stage.legs == "four-switch" else -1.0 if backwards else 1.0
    setting = setting._replace(legs=one_leg)
    if backwards:
        setting = setting._replace(esr_in=setting.esr_out, esr_out=setting.esr_in)
    losses, _ = stage_point(v_in, v_out, i_coil, ih, il, ol, oh, coil, setting)
    if not _same(losses, s.losses, k):
        # At the edge of a four-switch stage's regions the solver may hold the region of one leg a little longer.
        stage_point(v_in, v_out, i_coil, ih, il, ol, oh, coil, setting._replace(duty_turn=1.0))


def _same(found: StageLosses, shown: StageLosses, k: int) -> bool:
    a = sum(float(x) for x in found)
    b = sum(float(x[k]) for x in shown)
    return bool(np.isclose(a, b, rtol=AGREES, atol=0.0))
