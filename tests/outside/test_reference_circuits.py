"""The switched stage and the network solver against independent circuit simulations (ngspice 39), kept in tests/data.

Tolerances are those that the runs' own notes give for a correct simulator: means and conversion ratio 0.2 %, ripple
and rms currents 0.5 %, conduction loss 1 % or 1 mW, dead-time loss 2 % or 1 mW, efficiency 0.05 points. Two models
are coarser than the circuits, and what that costs is computed here instead of being allowed for:

* the stage lets all ripple flow in its own capacitors, the circuits let some of it flow in source, load and pack:
  `kept_by_capacitor` divides it, harmonic by harmonic, between the deck's impedances;
* the stage has a fixed diode drop: it gets VF + RD·i at the charge-weighted current of the two dead times.

Voltage ripple is not compared: the stage does not give it.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from chargewright.network.graph import StateKey
from chargewright.network.hardware import Hardware, HotPart, StageParts, WireParts
from chargewright.network.solve import Conditions, Solution, solve
from chargewright.network.stage import CoilAt, Setting, StageLosses, StageWaveform, SwitchAt, stage_point
from chargewright.paths import shelf

RUNS = Path(__file__).parents[1] / "data" / "reference_circuits"
SUFFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3}
MEAN, RMS, CONDUCTION, DEAD_TIME, MILLIWATT, EFFICIENCY = 0.002, 0.005, 0.01, 0.02, 1e-3, 0.0005


def number(text: str) -> float:
    """Return a value of the deck, in SI."""
    return float(text[:-1]) * SUFFIXES[text[-1]] if text[-1] in SUFFIXES else float(text)


class Run:
    """One reference run: deck parameters `p` in SI, results `r` as they stand, losses in W."""

    def __init__(self, folder: str) -> None:
        found = json.loads((RUNS / folder / "result.json").read_text())
        self.p: dict[str, float] = {key: number(value) for key, value in found["parameters"].items()}
        self.r: dict[str, float] = found["steady_state"]
        self.loss: dict[str, float] = {key: value * 1e-3 for key, value in found["steady_state"]["losses_mW"].items()}

    @property
    def coil(self) -> CoilAt:
        """The deck's inductor: it neither saturates nor has a core."""
        return CoilAt(self.p["LV"], 1e9, 2.0, self.p["DCR"], 1.0, 1e6, 0.0, 1.5, 2.5, 1e-9, 1e-4)

    def setting(self, t_dead: float, **changes: float) -> Setting:
        """Forced continuous conduction, no drive and no quiescent current."""
        plain = Setting(0.0, self.p["FSW"], t_dead, 5.0, 0.0, 0.92, 0.5, 0.0, 1.0, self.p["ESRI"], self.p["ESRO"])
        return plain._replace(**changes)

    @property
    def diode(self) -> float:
        """Drop of a body diode at the two currents that it meets, weighted by the charge of each (equal dead times)."""
        low, high = sorted(abs(self.r[k]) for k in ("iL_min_A", "iL_max_A"))
        return self.p["VF"] + self.p["RD"] * (low**2 + high**2) / (low + high)


def switch(r_on: float, v_f: float = 0.0) -> SwitchAt:
    """Return a switch of the deck: a resistance with a diode, without charge or capacitance."""
    return SwitchAt(r_on, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, v_f)


ABSENT = switch(0.0)


def kept_by_capacitor(
    current: Any, f_sw: float, c: float, esr: float, beside: Callable[[Any], Any], harmonics: int = 200
) -> float:
    """Return rms of the capacitor's current over rms of all ripple that reaches its node.

    current : one period of the node's current, evenly sampled; beside : impedance of what else carries ripple
    """
    spectrum = np.fft.rfft(current)[1 : harmonics + 1]
    w = 2.0 * np.pi * f_sw * np.arange(1, harmonics + 1)
    own = esr + 1.0 / (1j * w * c)
    other = beside(w)
    divided = spectrum * other / (other + own)
    return float(np.sqrt(np.sum(np.abs(divided) ** 2) / np.sum(np.abs(spectrum) ** 2)))


def period(*ramps: tuple[float, float, float], samples: int = 20000) -> Any:
    """Return one sampled period from ramps of (share, start, end)."""
    ends = np.cumsum([share for share, _, _ in ramps])
    at = (np.arange(samples) + 0.5) / samples
    which = np.minimum(np.searchsorted(ends, at), len(ramps) - 1)
    share, start, end = (np.array(column)[which] for column in zip(*ramps, strict=True))
    return start + (end - start) * (at - (ends[which] - share)) / np.maximum(share, 1e-12)


def line(p: dict[str, float]) -> Callable[[Any], Any]:
    """Return the impedance of the source behind its inductance."""
    return lambda w: p["RS"] + 1j * w * p["LSRC"]


def pack(p: dict[str, float]) -> Callable[[Any], Any]:
    """Return the impedance of sense resistor and pack."""
    return lambda w: p["RSNS"] + p["R0"] + p["RC1"] / (1.0 + 1j * w * p["RC1"] * p["C1"])


Row = tuple[float, float, float]
"""Found, reference, allowed difference."""


def within(share: float, found: Any, reference: float, least: float = 0.0) -> Row:
    """Return a row whose tolerance is a share of the reference, or `least` if that is more."""
    return float(found), reference, max(share * abs(reference), least)


def assert_all(rows: dict[str, Row]) -> None:
    """Hold every row; tell all that are off."""
    off = {
        name: f"{found:.6g}, reference {reference:.6g} ± {allowed:.2g}"
        for name, (found, reference, allowed) in rows.items()
        if not abs(found - reference) <= allowed
    }
    assert not off, off


def losses_agree(run: Run, found: StageLosses, pairs: dict[str, str]) -> dict[str, Row]:
    """Return rows of conduction and dead-time losses; `pairs` is loss of the stage to element of the deck."""
    rows = {
        ours: within(DEAD_TIME if "dead" in ours else CONDUCTION, getattr(found, ours), run.loss[theirs], MILLIWATT)
        for ours, theirs in pairs.items()
    }
    coil = found.coil_winding + found.coil_ac
    return rows | {"coil": within(CONDUCTION, coil, run.loss["inductor_dcr"], MILLIWATT)}


def capacitors_agree(
    found: tuple[Any, Any], reference: tuple[float, float], kept: tuple[float, float]
) -> dict[str, Row]:
    """Return rows of both capacitors, source side first."""
    names = ("rms of source-side capacitor", "rms of pack-side capacitor")
    return {n: within(RMS, f * k, r) for n, f, r, k in zip(names, found, reference, kept, strict=True)}


def efficiency_agrees(run: Run, found: StageLosses, kept: tuple[float, float], p_out: float) -> dict[str, Row]:
    """Return the row of efficiency; the loss in capacitors is that of the current which they keep."""
    kept_in, kept_out = kept
    lost = (
        sum(found)
        - found.in_capacitor * (1.0 - kept_in**2)
        - found.out_capacitor * (1.0 - kept_out**2)
        + run.loss.get("sense_resistor", 0.0)
    )
    return {"efficiency": (float(p_out / (p_out + lost)), run.r["efficiency_pct"] / 100.0, EFFICIENCY)}


def output_at(duty: Callable[[float], float], wanted: float, near: float) -> float:
    """Return the output voltage at which the stage needs the deck's duty."""
    return float(brentq(lambda v: duty(v) - wanted, 0.8 * near, 1.2 * near, xtol=1e-9))


@pytest.mark.parametrize("folder", ["o01_buck_rload", "o02_buck_pack"])
def test_a_synchronous_buck(folder: str):
    run = Run(folder)
    p, r = run.p, run.r

    def point(v_out: float) -> tuple[StageLosses, StageWaveform]:
        high, low = switch(p["RH"]), switch(p["RLS"], run.diode)
        setting = run.setting(p["TD1"], legs=1.0)
        return stage_point(r["vin_mean_V"], v_out, r["iL_mean_A"], high, low, ABSENT, ABSENT, run.coil, setting)

    losses, wave = point(r["vout_mean_V"])
    up, down = r["iL_max_A"], r["iL_min_A"]
    beside = pack(p) if "OCV" in p else (lambda w: p["RL"] + 0.0 * w)
    kept = (
        kept_by_capacitor(period((p["DH"], down, up), (1 - p["DH"], 0, 0)), p["FSW"], p["CI"], p["ESRI"], line(p)),
        kept_by_capacitor(period((p["DH"], down, up), (1 - p["DH"], up, down)), p["FSW"], p["CO"], p["ESRO"], beside),
    )
    p_out = r["vbat_mean_V"] * r["ibat_mean_A"] if "OCV" in p else r["vout_mean_V"] * r["iL_mean_A"]
    assert_all(
        {
            "duty": within(MEAN, wave.d_in, p["DH"]),
            "output at the deck's duty": within(
                MEAN, output_at(lambda v: point(v)[1].d_in, p["DH"], r["vout_mean_V"]), r["vout_mean_V"]
            ),
            "ripple": within(RMS, wave.di_pp, r["iL_ripple_pp_A"]),
            "peak": within(RMS, wave.i_peak, r["iL_max_A"]),
            "valley": within(RMS, wave.i_valley, r["iL_min_A"]),
            "rms of coil": within(RMS, wave.rms_coil, r["iL_rms_A"]),
            "rms of high switch": within(RMS, wave.rms_in_high, r["i_hs_fet_rms_A"]),
            "rms of low switch": within(RMS, wave.rms_in_low, r["i_ls_fet_rms_A"]),
        }
        | capacitors_agree((wave.rms_in_capacitor, wave.rms_out_capacitor), (r["i_cin_rms_A"], r["i_cout_rms_A"]), kept)
        | losses_agree(
            run,
            losses,
            {"in_high_conduction": "hs_fet", "in_low_conduction": "ls_fet", "in_dead_time": "ls_body_diode"},
        )
        | efficiency_agrees(run, losses, kept, p_out)
    )


def test_the_input_capacitor_carries_more_than_the_stage_says_as_the_runs_notes_say():
    # The notes of the runs: the formula without ripple in the source is 1.4 % low in this circuit. Half of the last
    # digit of "1.4 %", and 0.1 % for what the stage's other numbers are off, are allowed.
    run = Run("o01_buck_rload")
    p, r = run.p, run.r
    ramp = period((p["DH"], r["iL_min_A"], r["iL_max_A"]), (1 - p["DH"], 0, 0))
    assert kept_by_capacitor(ramp, p["FSW"], p["CI"], p["ESRI"], line(p)) == pytest.approx(1.014, abs=0.0015)


def test_a_boost_backwards_through_the_buck():
    run = Run("o03_boost_reverse")
    p, r = run.p, run.r
    peak, valley, mean = -r["iL_min_A"], -r["iL_max_A"], -r["iL_mean_A"]
    # The deck's two dead times differ; the stage has one for both. Their mean leaves duty and ratio as they are.
    t_dead = 0.5 * (p["TD1"] + p["TD2"])
    d_low = 1.0 - p["DH"] - 2.0 * t_dead * p["FSW"]

    def point(v_out: float) -> tuple[StageLosses, StageWaveform]:
        setting = run.setting(t_dead, legs=-1.0, esr_in=p["ESRO"], esr_out=p["ESRI"])
        low, high = switch(p["RLS"]), switch(p["RH"], run.diode)
        return stage_point(r["vout_mean_V"], v_out, mean, ABSENT, ABSENT, low, high, run.coil, setting)

    losses, wave = point(r["vbus_mean_V"])
    kept = (
        kept_by_capacitor(
            period((d_low, valley, peak), (1 - d_low, peak, valley)), p["FSW"], p["CO"], p["ESRO"], pack(p)
        ),
        kept_by_capacitor(
            period((d_low, 0, 0), (1 - d_low, peak, valley)),
            p["FSW"],
            p["CI"],
            p["ESRI"],
            lambda w: p["RL"] + 0.0 * w,
        ),
    )
    # The longer dead time falls on the valley: by so much less the diode has, and by so much more the channel.
    uneven = 0.5 * (p["TD1"] - p["TD2"]) * p["FSW"] * (peak - valley)
    moved = uneven * (run.p["VF"] + p["RD"] * (peak + valley))
    mean_square = wave.rms_out_high**2 + uneven * (peak + valley)
    assert_all(
        {
            "duty of the low switch": within(MEAN, wave.d_out, d_low),
            "bus at the deck's duty": within(
                MEAN, output_at(lambda v: point(v)[1].d_out, d_low, r["vbus_mean_V"]), r["vbus_mean_V"]
            ),
            "ripple": within(RMS, wave.di_pp, r["iL_ripple_pp_A"]),
            "peak": within(RMS, wave.i_peak, peak),
            "rms of coil": within(RMS, wave.rms_coil, r["iL_rms_A"]),
            "rms of low switch": within(RMS, wave.rms_out_low, r["i_ls_fet_rms_A"]),
            "rms of high switch": within(RMS, np.sqrt(mean_square), r["i_hs_fet_rms_A"]),
            "dead time": within(DEAD_TIME, losses.out_dead_time - moved, run.loss["hs_body_diode"], MILLIWATT),
        }
        | capacitors_agree((wave.rms_in_capacitor, wave.rms_out_capacitor), (r["i_cout_rms_A"], r["i_cin_rms_A"]), kept)
        | losses_agree(run, losses, {"out_low_conduction": "ls_fet", "out_high_conduction": "hs_fet"})
        | efficiency_agrees(run, losses, kept, r["vbus_mean_V"] ** 2 / p["RL"])
    )


def test_a_buck_in_discontinuous_conduction_on_its_diode():
    # The stage's low switch is a resistance, the deck's a diode VF + RD·i that conducts through the whole fall. VF
    # moved out of the diode into both terminals leaves every coil voltage as it is: rise (vin + VF) - (vout + VF),
    # fall -(vout + VF). So the stage runs between the raised terminals with RD as its low switch; VF times the
    # diode's charge is the difference of power, and the larger part of the diode's loss.
    run = Run("o04_buck_dcm")
    p, r = run.p, run.r
    setting = run.setting(0.0, legs=1.0, emulate=1.0, skip=0.05)

    def point(v_out: float) -> tuple[StageLosses, StageWaveform]:
        high, low = switch(p["RH"]), switch(p["RD"])
        return stage_point(
            r["vin_mean_V"] + p["VF"],
            v_out + p["VF"],
            r["iL_mean_A"],
            high,
            low,
            ABSENT,
            ABSENT,
            run.coil,
            setting,
        )

    def share_on(v_out: float) -> float:
        wave = point(v_out)[1]
        return float(wave.d_in * wave.active)

    losses, wave = point(r["vout_mean_V"])
    falling = wave.active * (1.0 - wave.d_in)
    diode = p["VF"] * 0.5 * wave.i_peak * falling + losses.in_low_conduction
    shape = (p["DH"], 0.0, r["iL_max_A"]), (falling, r["iL_max_A"], 0.0), (1.0 - p["DH"] - falling, 0.0, 0.0)
    pulse = (p["DH"], 0.0, r["iL_max_A"]), (1.0 - p["DH"], 0.0, 0.0)
    kept = (
        kept_by_capacitor(period(*pulse), p["FSW"], p["CI"], p["ESRI"], line(p)),
        kept_by_capacitor(period(*shape), p["FSW"], p["CO"], p["ESRO"], lambda w: p["RL"] + 0.0 * w),
    )
    lost = diode + sum(losses) - losses.in_low_conduction
    p_out = r["vout_mean_V"] * r["iL_mean_A"]
    assert wave.i_valley == 0.0
    assert wave.rate == p["FSW"], "discontinuous, but not skipping"
    assert_all(
        {
            "share of the high switch": within(MEAN, share_on(r["vout_mean_V"]), p["DH"]),
            # At a fixed current the share depends on the ratio through the ripple as well; so the ratio is compared.
            "output at the deck's duty": within(MEAN, output_at(share_on, p["DH"], r["vout_mean_V"]), r["vout_mean_V"]),
            "peak": within(RMS, wave.i_peak, r["iL_max_A"]),
            "rms of coil": within(RMS, wave.rms_coil, r["iL_rms_A"]),
            "rms of high switch": within(RMS, wave.rms_in_high, r["i_hs_fet_rms_A"]),
            "mean of the diode": within(RMS, 0.5 * wave.i_peak * falling, r["i_ls_diode_mean_A"]),
            "diode": within(DEAD_TIME, diode, run.loss["ls_body_diode"], MILLIWATT),
            "efficiency": (float(p_out / (p_out + lost)), r["efficiency_pct"] / 100.0, EFFICIENCY),
        }
        | capacitors_agree((wave.rms_in_capacitor, wave.rms_out_capacitor), (r["i_cin_rms_A"], r["i_cout_rms_A"]), kept)
        | losses_agree(run, losses, {"in_high_conduction": "hs_fet"})
    )


@pytest.mark.parametrize("folder", ["o05_bb_boost", "o06_bb_transition"])
def test_four_switches(folder: str):
    run = Run(folder)
    p, r = run.p, run.r
    both = p["DA"] < 1.0
    # In the deck the output pulse begins PHB after the input pulse: the lead's share of the time both highs are on.
    changes = {"duty_turn": 1.0 - p["DB2"], "phase": p["PHB"] / (p["DA"] - p["DB2"])} if both else {}

    def point(v_out: float) -> tuple[StageLosses, StageWaveform]:
        return stage_point(
            r["vin_mean_V"],
            v_out,
            r["iL_mean_A"],
            switch(p["R1"]),
            switch(p["R2"], run.diode),
            switch(p["R3"]),
            switch(p["R4"], run.diode),
            run.coil,
            run.setting(p["TDA"], **changes),
        )

    losses, wave = point(r["vout_mean_V"])
    duty, wanted = ("d_in", p["DA"]) if both else ("d_out", p["DB2"])
    kept = four_switch_capacitors(run)
    assert_all(
        {
            "input duty": within(MEAN, wave.d_in, p["DA"]),
            "output duty": within(MEAN, wave.d_out, p["DB2"]),
            "output at the deck's duty": within(
                MEAN, output_at(lambda v: getattr(point(v)[1], duty), wanted, r["vout_mean_V"]), r["vout_mean_V"]
            ),
            "ripple": within(RMS, wave.di_pp, r["iL_ripple_pp_A"]),
            "peak": within(RMS, wave.i_peak, r["iL_max_A"]),
            "rms of coil": within(RMS, wave.rms_coil, r["iL_rms_A"]),
            "rms of input high": within(RMS, wave.rms_in_high, r["i_q1_rms_A"]),
            # The deck's open switches are 1 MΩ, through which some 10 µA flow.
            "rms of input low": within(RMS, wave.rms_in_low, r["i_q2_rms_A"], 2e-5),
            "rms of output low": within(RMS, wave.rms_out_low, r["i_q3_rms_A"]),
            "rms of output high": within(RMS, wave.rms_out_high, r["i_q4_rms_A"]),
        }
        | capacitors_agree((wave.rms_in_capacitor, wave.rms_out_capacitor), (r["i_cin_rms_A"], r["i_cout_rms_A"]), kept)
        | losses_agree(
            run,
            losses,
            {
                "in_high_conduction": "q1_fet",
                "in_low_conduction": "q2_fet",
                "out_low_conduction": "q3_fet",
                "out_high_conduction": "q4_fet",
                "in_dead_time": "q2_body_diode",
                "out_dead_time": "q4_body_diode",
            },
        )
        | efficiency_agrees(run, losses, kept, r["vbat_mean_V"] * r["ibat_mean_A"])
    )


def four_switch_capacitors(run: Run) -> tuple[float, float]:
    """Return what the capacitors keep, from an ideal coil current: slopes without drops, mean from the run."""
    p, r = run.p, run.r
    lead, rise = p["PHB"], p["DB2"]
    carry, fall = p["DA"] - lead - rise, 1.0 - p["DA"]
    shares = np.array([lead, rise, carry, fall])
    volts = np.array([r["vin_mean_V"] - r["vout_mean_V"], r["vin_mean_V"], 0.0, -r["vout_mean_V"]])
    volts[2] = -(volts[1] * rise + volts[3] * fall) / (lead + carry)
    volts[0] = volts[2]
    corners = np.concatenate([[0.0], np.cumsum(volts * shares)]) / (p["LV"] * p["FSW"])
    corners += r["iL_mean_A"] - np.sum(shares * 0.5 * (corners[:-1] + corners[1:]))
    ramps = list(zip(shares, corners[:-1], corners[1:], strict=True))
    into_leg = [ramps[0], ramps[1], ramps[2], (fall, 0.0, 0.0)]
    out_of_leg = [ramps[0], (rise, 0.0, 0.0), ramps[2], ramps[3]]
    return (
        kept_by_capacitor(period(*into_leg), p["FSW"], p["CI"], p["ESRI"], line(p)),
        kept_by_capacitor(period(*out_of_leg), p["FSW"], p["CO"], p["ESRO"], pack(p)),
    )


def hardware(run: Run, **switches: SwitchAt) -> Hardware:
    """Return the deck's stage and sense resistor; nothing else resists, nothing warms, nothing drives."""
    cold = HotPart(temp_co=0.0, rth=0.0)
    nothing = WireParts(r_25=0.0)
    changes = {"duty_turn": 1.0 - run.p["DB2"], "phase": 0.5} if run.p.get("DA", 1.0) < 1.0 else {}
    return Hardware(
        wires={
            "blocking-pair": nothing,
            "sense-source": nothing,
            "battery-switch": nothing,
            "sense-charge": WireParts(r_25=run.p.get("RSNS", 0.0)),
        },
        stage=StageParts(
            a_high=switches["a_high"],
            a_low=switches["a_low"],
            b_low=switches.get("b_low"),
            b_high=switches.get("b_high"),
            coil=run.coil,
            setting=run.setting(0.5 * (run.p["TD1"] + run.p["TD2"]) if "TD1" in run.p else run.p["TDA"], **changes),
            hot=dict.fromkeys(("a_high", "a_low", "b_low", "b_high", "coil"), cold),
        ),
        rails=(),
        r_board=0.0,
    )


def solved(path: str, state: StateKey, hw: Hardware, **conditions: float) -> Solution:
    """Return the one solved condition."""
    shelved = shelf.get(path)
    found = shelved.state(state)
    assert found is not None
    s = solve(shelved, found, hw, Conditions(**conditions))
    assert s.ok.all()
    return s


def test_the_solver_charges_the_pack_as_the_buck_does():
    run = Run("o02_buck_pack")
    p, r = run.p, run.r
    hw = hardware(run, a_high=switch(p["RH"]), a_low=switch(p["RLS"], run.diode))
    given = {"e_source": p["VIN"], "r_source": p["RS"], "e_cells": p["OCV"], "r_pack": p["R0"] + p["RC1"]}
    s = solved("direct", "charging", hw, **given, i_pack=r["ibat_mean_A"])
    p_in = s.v["bus"][0] * s.i["source"][0]
    assert_all(
        {
            "duty": within(MEAN, s.waveform.d_in[0], p["DH"]),
            "stage input": within(MEAN, s.v["bus"][0], r["vin_mean_V"]),
            "stage output": within(MEAN, s.v["charge"][0], r["vout_mean_V"]),
            "pack terminals": within(MEAN, s.v["pack"][0], r["vbat_mean_V"]),
            "input power": within(MEAN, p_in, r["p_in_W"]),
            "sense resistor": within(CONDUCTION, s.wire_loss["sense-charge"][0], run.loss["sense_resistor"], MILLIWATT),
            "efficiency": (s.v["pack"][0] * s.i["pack"][0] / p_in, r["efficiency_pct"] / 100.0, EFFICIENCY),
        }
    )


def test_the_solver_holds_the_bus_from_the_pack_as_the_boost_does():
    run = Run("o03_boost_reverse")
    p, r = run.p, run.r
    hw = hardware(run, a_high=switch(p["RH"], run.diode), a_low=switch(p["RLS"]))
    bus = r["vbus_mean_V"]
    given = {"e_cells": p["OCV"], "r_pack": p["R0"] + p["RC1"], "v_bus": bus, "p_load": bus**2 / p["RL"]}
    s = solved("direct-boost", "battery-boost", hw, **given)
    d_low = 1.0 - p["DH"] - (p["TD1"] + p["TD2"]) * p["FSW"]
    p_in = -s.v["pack"][0] * s.i["pack"][0]
    assert_all(
        {
            "duty of the low switch": within(MEAN, s.waveform.d_out[0], d_low),
            "pack current": within(MEAN, -s.i["pack"][0], r["ibat_mean_A"]),
            "stage on the pack side": within(MEAN, s.v["charge"][0], r["vout_mean_V"]),
            "input power": within(MEAN, p_in, r["p_in_W"]),
            "efficiency": (s.p_load[0] / p_in, r["efficiency_pct"] / 100.0, EFFICIENCY),
        }
    )


@pytest.mark.parametrize("folder", ["o05_bb_boost", "o06_bb_transition"])
def test_the_solver_charges_the_pack_as_four_switches_do(folder: str):
    run = Run(folder)
    p, r = run.p, run.r
    hw = hardware(
        run,
        a_high=switch(p["R1"]),
        a_low=switch(p["R2"], run.diode),
        b_low=switch(p["R3"]),
        b_high=switch(p["R4"], run.diode),
    )
    given = {"e_source": p["VIN"], "r_source": p["RS"], "e_cells": p["OCV"], "r_pack": p["R0"] + p["RC1"]}
    s = solved("narrow-buck-boost", "charging", hw, **given, i_pack=r["ibat_mean_A"])
    p_in = s.v["input"][0] * s.i["source"][0]
    coil = s.i_b[0] / (1.0 - s.waveform.d_out[0])
    assert_all(
        {
            "input duty": within(MEAN, s.waveform.d_in[0], p["DA"]),
            "output duty": within(MEAN, s.waveform.d_out[0], p["DB2"]),
            "coil current": within(MEAN, coil, r["iL_mean_A"]),
            "stage input": within(MEAN, s.v["input"][0], r["vin_mean_V"]),
            "stage output": within(MEAN, s.v["bus"][0], r["vout_mean_V"]),
            "input power": within(MEAN, p_in, r["p_in_W"]),
            "efficiency": (s.v["pack"][0] * s.i["pack"][0] / p_in, r["efficiency_pct"] / 100.0, EFFICIENCY),
        }
    )


def test_the_solver_feeds_a_resistor_as_the_buck_does():
    run = Run("o01_buck_rload")
    p, r = run.p, run.r
    hw = hardware(run, a_high=switch(p["RH"]), a_low=switch(p["RLS"], run.diode))
    v_out = r["vout_mean_V"]
    given = {"e_source": p["VIN"], "r_source": p["RS"], "v_bus": v_out, "p_load": v_out**2 / p["RL"]}
    s = solved("parallel", "no-pack", hw, **given)
    p_in = s.v["input"][0] * s.i["source"][0]
    assert_all(
        {
            "duty": within(MEAN, s.waveform.d_in[0], p["DH"]),
            "coil current": within(MEAN, s.i_b[0], r["iL_mean_A"]),
            "stage input": within(MEAN, s.v["input"][0], r["vin_mean_V"]),
            "input power": within(MEAN, p_in, r["p_in_W"]),
            "efficiency": (s.p_load[0] / p_in, r["efficiency_pct"] / 100.0, EFFICIENCY),
        }
    )
