"""A stage that runs backwards is the mirrored stage that runs forwards."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from chargewright.network.graph import Legs, PowerPath, StageSlot, State, Wire
from chargewright.network.hardware import Hardware
from chargewright.network.solve import Conditions, solve
from chargewright.network.stage import StageLosses, StageWaveform
from chargewright.paths import shelf


def pack_feeds_bus(legs: Legs, *, mirrored: bool) -> PowerPath:
    """Return a pack that feeds the bus through the stage: backwards, or forwards with the stage turned round."""
    a, b = ("charge", "bus") if mirrored else ("bus", "charge")
    state = State(
        key="battery-boost", stage="forward" if mirrored else "reverse", held="bus-voltage", source=False, pack=True
    )
    return replace(
        shelf.get("direct"),
        nodes={"bus": "bus", "charge": "stage, pack side", "cells": "cells"},
        wires=(Wire(key="pack", name="pack, inside", a="charge", b="cells"),),
        stage=StageSlot(a=a, b=b, legs=legs),
        states=(state,),
    )


@pytest.mark.parametrize("v_bus", [5.0, 8.0, 8.4, 8.8, 14.0, 20.0])
def test_backwards_is_forwards_of_the_mirrored_stage(plain_hardware: Callable[..., Hardware], v_bus: float):
    back = pack_feeds_bus("four-switch", mirrored=False)
    forth = pack_feeds_bus("four-switch", mirrored=True)
    hardware = plain_hardware(back)
    parts = hardware.stage
    # Four different switches and different capacitors, so that a mixed-up role shows.
    high, low = parts.a_high, parts.a_low
    stage = replace(
        parts,
        a_high=high._replace(r_on=7e-3, q_sw=1e-9),
        a_low=low._replace(r_on=9e-3, v_f=0.7),
        b_low=low._replace(r_on=11e-3, q_sw=3e-9),
        b_high=high._replace(r_on=13e-3, v_f=0.9, q_rr=20e-9),
        hot={k: replace(h, rth=10.0 + 5.0 * j) for j, (k, h) in enumerate(sorted(parts.hot.items()))},
    )
    turned = replace(
        stage,
        a_high=stage.b_high,
        a_low=stage.b_low,
        b_low=stage.a_low,
        b_high=stage.a_high,
        setting=stage.setting._replace(esr_in=stage.setting.esr_out, esr_out=stage.setting.esr_in),
        hot={
            "a_high": stage.hot["b_high"],
            "a_low": stage.hot["b_low"],
            "b_low": stage.hot["a_low"],
            "b_high": stage.hot["a_high"],
            "coil": stage.hot["coil"],
        },
    )
    c = Conditions(e_cells=8.4, r_pack=0.05, v_bus=v_bus, p_load=np.array([0.05, 2.0, 12.0, 25.0]))
    backwards = solve(back, back.states[0], replace(hardware, stage=stage), c)
    forwards = solve(forth, forth.states[0], replace(hardware, stage=turned), c)
    assert backwards.ok.all()
    assert forwards.ok.all()
    # The same equations in another order: what the last step of each leaves, below 1e-9.
    np.testing.assert_allclose(backwards.i["pack"], forwards.i["pack"], rtol=1e-9)
    np.testing.assert_allclose(-backwards.i_a, forwards.i_b, rtol=1e-9)
    np.testing.assert_allclose(-backwards.i_b, forwards.i_a, rtol=1e-9)
    for fields, one, other in (
        (StageLosses._fields, backwards.losses, forwards.losses),
        (StageWaveform._fields, backwards.waveform, forwards.waveform),
    ):
        for name, x, y in zip(fields, one, other, strict=True):
            np.testing.assert_allclose(x, y, rtol=1e-7, atol=1e-9, err_msg=name)
    for place, counterpart in (("a_high", "b_high"), ("b_low", "a_low"), ("coil", "coil")):
        np.testing.assert_allclose(backwards.temp[place], forwards.temp[counterpart], rtol=1e-8)


def test_a_buck_backwards_is_a_boost_and_can_only_lift(plain_hardware: Callable[..., Hardware]):
    # Two switches: the bus side is the high one. Below the pack there is no duty that makes the bus.
    path = pack_feeds_bus("buck", mirrored=False)
    c = Conditions(e_cells=8.4, r_pack=0.05, v_bus=np.array([6.0, 8.0, 9.0, 12.0, 20.0]), p_load=10.0)
    s = solve(path, path.states[0], plain_hardware(path), c)
    assert s.ok.tolist() == [False, False, True, True, True]
    lifted = s.v["bus"][2:] / s.v["charge"][2:]
    # What the drops cost of the ratio, 2 A through some 45 mΩ of 8 V, is within 3 %.
    np.testing.assert_allclose(1.0 / (1.0 - s.waveform.d_out[2:]), lifted, rtol=0.03)
