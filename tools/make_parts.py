"""Make the tables of built-in generic parts from scaling laws; the parts are invented.

    python tools/make_parts.py            write the tables
    python tools/make_parts.py --check    say which tables differ from what would be written

No maker's data went in. Each law below is an order of magnitude that a practitioner expects (common practice), with
the physics that scales it; nothing is random, so the same tables come out every time. `docs/parts.md`
explains the laws to users, and the tests compare the tables with typical magnitudes.
"""

import sys
from collections.abc import Iterable, Iterator
from math import inf, nan, pi, sqrt
from typing import Any

from chargewright.base.units import ZERO_CELSIUS
from chargewright.parts import capacitor, clamp_diode, inductor, sense_resistor, switch
from chargewright.parts._table import TABLES, table_text
from chargewright.parts.capacitor import Capacitor
from chargewright.parts.clamp_diode import ClampDiode
from chargewright.parts.inductor import Inductor
from chargewright.parts.kind import Catalogue, PartKind, catalogue
from chargewright.parts.sense_resistor import SenseResistor
from chargewright.parts.switch import Switch

COMMENTS = (
    "Invented generic parts; no maker's data.",
    "Made by tools/make_parts.py from the scaling laws in docs/parts.md; edit a copy, not this file.",
)
E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)  # IEC 60063
COPPER_TEMP_CO = 0.00393  # 1/K, annealed copper, IEC 60028
SKIN_DEPTH_500K = 93e-6  # m, copper at 500 kHz and 20 °C
KILO, MILLI, MICRO, NANO, PICO = 1e3, 1e-3, 1e-6, 1e-9, 1e-12
MM, MM2, MM3 = 1e-3, 1e-6, 1e-9


def rounded(value: float, digits: int = 2) -> float:
    """Return `value` to some significant digits, as a data sheet would state it."""
    return float(f"{value:.{digits}g}")


def celsius(value: float) -> float:
    """Return a temperature in kelvin."""
    return value + ZERO_CELSIUS


def switches() -> Iterator[Switch]:
    """Seven die areas in three package sizes, six voltage classes, two grades: A has less charge, B costs less."""
    packages = ((4.0, 1.2, 18.0), (10.9, 0.7, 50.0), (30.0, 0.25, 100.0))  # area mm2, copper mohm, current limit A
    dies = ((0.6, 0), (1.0, 0), (1.6, 1), (2.6, 1), (4.2, 1), (6.8, 2), (11.0, 2))  # mm2, package
    for v_max in (20.0, 30.0, 40.0, 60.0, 80.0, 100.0):
        over_30 = v_max / 30.0
        for die, package in dies:
            for grade, charge, price in (("A", 0.8, 1.2), ("B", 1.2, 0.9)):
                area, r_package, i_limit = packages[package]
                r_die = 6.5 * over_30**1.7 / die  # mohm: thicker, less doped drift region
                r_on = rounded(r_die + r_package)
                q_gate = charge * 32.0 * over_30**1.6 / r_die  # nC: figure of merit over resistance
                rth_jb = 22.0 * area**-0.7 + 1.2 / die  # K/W: package spreads, die feeds
                r_hot = r_on * 1.6 * MILLI
                yield Switch(
                    name=f"SW {v_max:.0f}V {r_on:g}mohm {grade}",
                    v_max=v_max,
                    i_max=rounded(min(i_limit, sqrt(50.0 / (rth_jb * r_hot)))),  # 50 K above a hot board
                    r_on_25=r_on * MILLI,
                    r_on_temp_co=rounded(0.38 * over_30**0.35) / 100.0,
                    q_gate=rounded(q_gate) * NANO,
                    q_sw=rounded(q_gate * 0.28 * over_30**0.15) * NANO,
                    v_plateau=rounded(2.4 * over_30**0.2),
                    r_gate=rounded(0.7 + 0.5 / sqrt(die)),
                    c_oss_energy=rounded(charge * 2400.0 * over_30**0.55 / r_die) * PICO,
                    q_rr=rounded(charge * 45.0 * over_30**2 / r_die) * NANO,
                    t_rr=rounded(4.0 * over_30**0.6) * NANO,
                    v_f=rounded(0.72 + 0.10 * (v_max - 20.0) / 80.0),
                    rth_jb=rounded(rth_jb),
                    area=area * MM2,
                    cost=rounded(price * (0.30 + 0.02 * area + 0.30 * die * over_30**0.25)),
                    temp_j_max=celsius(150.0),
                )


def inductors() -> Iterator[Inductor]:
    """Twelve E6 values in eight sizes and two materials, less those whose current is odd for their size."""
    sizes = ((4.0, 2.0), (5.0, 2.5), (6.0, 3.0), (7.0, 3.0), (8.0, 4.0), (10.0, 4.0), (12.0, 5.0), (15.0, 7.0))
    values = (0.47, 0.68, *E6, 10.0, 15.0, 22.0, 33.0)
    # energy density kJ/m3, exponent, flux at i_sat T, share of L·I that is flux there, loss at 500 kHz and 50 mT W/m3,
    # alpha, beta, resistance factor, tolerance, cost per mm3
    materials = {
        "composite": (1.5, 2.75, 0.50, 0.90, 1.2e6, 1.30, 2.30, 1.0, 0.20, 0.0030),
        "ferrite": (0.55, 8.0, 0.33, 0.96, 0.15e6, 1.50, 2.60, 0.8, 0.25, 0.0022),
    }
    for material, law in materials.items():
        density, exponent, b_sat, linkage, loss_ref, alpha, beta, winding, tol_l, price = law
        for side, height in sizes:
            envelope = side * side * height  # mm3
            rth = rounded(31.0 * (131.0 / envelope) ** 0.4)
            for value in values:
                i_sat = sqrt(2.0 * density * KILO * envelope * MM3 / (value * MICRO))
                # resistance over inductance goes with one over the square of the size, as turns and windows scale
                dcr = rounded(winding * 16.0 * value * (32.0 / envelope) ** (2.0 / 3.0))  # mohm
                i_rms = sqrt(40.0 / (rth * dcr * MILLI * (1.0 + COPPER_TEMP_CO * 40.0)))
                if not 2.0 < i_sat < 50.0 or (material == "ferrite" and value < 1.0):
                    continue  # nobody makes it
                wire = 0.34 * MM * (side / 6.6) ** 1.25 * (4.7 / value) ** 0.25  # diameter that fits the turns
                yield Inductor(
                    name=f"IND {value:g}uH {side:g}mm {material}",
                    l_0=value * MICRO,
                    tol_l=tol_l,
                    dcr_25=dcr * MILLI,
                    i_sat=rounded(i_sat),
                    sat_exponent=exponent,
                    i_rms=rounded(i_rms),
                    k_core=rounded(loss_ref / (500e3**alpha * 0.05**beta), 3),
                    alpha=alpha,
                    beta=beta,
                    volume=rounded(0.55 * envelope) * MM3,
                    turns_area=rounded(linkage * value * i_sat / b_sat) * MM2,  # uH·A/T is mm2
                    ac_ratio=rounded(max(1.2, wire / SKIN_DEPTH_500K)),
                    f_ref=500e3,
                    rth=rth,
                    temp_max=celsius(125.0),
                    area=side * side * MM2,
                    height=height * MM,
                    cost=rounded(0.45 + price * envelope),
                )


def ceramics() -> Iterator[Capacitor]:
    """Six values and six ratings, each in the smallest case that holds it, and from 10 uF on in the next one too."""
    # name, length, width, height mm; series inductance nH; thermal resistance K/W; highest temperature °C
    cases = (
        ("2mm", 2.0, 1.25, 1.25, 0.6, 200.0, 105.0),
        ("3.2mm", 3.2, 1.6, 1.6, 0.8, 150.0, 105.0),
        ("3.2mm wide", 3.2, 2.5, 2.5, 0.8, 110.0, 125.0),
        ("5.7mm", 5.7, 5.0, 2.5, 1.2, 60.0, 125.0),
    )
    volumes = [length * width * height for _, length, width, height, *_ in cases]
    for v_max in (10.0, 16.0, 25.0, 35.0, 50.0, 100.0):
        for value in (1.0, 2.2, 4.7, 10.0, 22.0, 47.0):
            needed = 0.3 * value * (v_max / 25.0) ** 1.2  # mm3
            fitting = [n for n, volume in enumerate(volumes) if volume >= needed]
            for n in fitting[: 2 if value >= 10.0 else 1]:
                case, length, width, _, esl, rth, temp_max = cases[n]
                left = 0.60 - 0.30 * needed / volumes[n]  # share left at the rating: the fuller, the thinner the layers
                esr = rounded(3.0 * (10.0 / value) ** 0.35)  # mohm
                exponent = 1.8
                yield Capacitor(
                    name=f"CAP {value:g}uF {v_max:g}V ceramic {case}",
                    kind="ceramic",
                    c_0=value * MICRO,
                    tol_c=0.10 if n >= 2 else 0.20,
                    v_max=v_max,
                    esr=esr * MILLI,
                    esl=esl * NANO,
                    v_half=rounded(v_max * (left / (1.0 - left)) ** (1.0 / exponent), 3),
                    bias_exponent=exponent,
                    i_rms_max=rounded(sqrt(20.0 / (rth * esr * MILLI))),  # 20 K of its own heat
                    temp_max=celsius(temp_max),
                    life_rated=nan,
                    area=rounded(length * width) * MM2,
                    cost=rounded(0.03 + 0.014 * volumes[n] ** 0.9),
                )


def cans() -> Iterator[Capacitor]:
    """Polymer and electrolytic capacitors in round cans: the wider the can, the less resistance."""
    polymer = (
        "220/10/6.3 470/10/8 150/16/6.3 330/16/8 68/25/6.3 150/25/8 330/25/10 47/35/6.3 100/35/8 220/35/10 33/50/8"
    )
    wet = (
        "100/25/6.3 220/25/8 470/25/10 1000/25/12.5 47/35/6.3 150/35/8 330/35/10 33/50/6.3 68/50/8 150/50/10 "
        "330/50/12.5 47/63/8 100/63/10 33/100/10 68/100/12.5"
    )
    # resistance mohm at 6.3 mm, its exponent, own heat allowed K, life h, base cost
    kinds: tuple[tuple[Any, ...], ...] = (
        ("polymer", polymer, 24.0, 1.5, 15.0, 2000.0, 0.30),
        ("electrolytic", wet, 260.0, 2.4, 5.0, 3000.0, 0.06),
    )
    for kind, listed, esr_small, fall, heat, life, base in kinds:
        for value, rating, diameter in (map(float, entry.split("/")) for entry in listed.split()):
            esr = rounded(esr_small * (6.3 / diameter) ** fall)
            rth = 105.0 * (6.3 / diameter) ** 1.8
            yield Capacitor(
                name=f"CAP {value:g}uF {rating:g}V {kind} {diameter:g}mm",
                kind=kind,
                c_0=value * MICRO,
                tol_c=0.20,
                v_max=rating,
                esr=esr * MILLI,
                esl=rounded(2.0 + 0.25 * diameter) * NANO,
                v_half=inf,
                bias_exponent=1.0,
                i_rms_max=rounded(sqrt(heat / (rth * esr * MILLI))),
                temp_max=celsius(105.0),
                life_rated=life * 3600.0,
                area=rounded((diameter + 0.3) ** 2) * MM2,
                cost=rounded(base + 0.0035 * pi / 4.0 * diameter**2),
            )


def sense_resistors() -> Iterator[SenseResistor]:
    """Six values in two sizes and two grades; the terminals' copper shows in the smallest."""
    for r in (1.0, 2.0, 3.0, 5.0, 10.0, 20.0):
        for size, area, p_max, rth, price in (("3.2mm", 5.1, 1.0, 60.0, 0.15), ("6.4mm", 20.0, 2.0, 30.0, 0.25)):
            for tol, temp_co, factor in ((0.5, 50.0 if r > 1.0 else 75.0, 1.8), (1.0, 100.0, 1.0)):
                yield SenseResistor(
                    name=f"RES {r:g}mohm {tol:g}% {size}",
                    r=r * MILLI,
                    tol=tol / 100.0,
                    temp_co=temp_co * MICRO,
                    p_max=p_max,
                    rth=rth,
                    area=area * MM2,
                    cost=rounded(price * factor),
                )


def clamp_diodes() -> Iterator[ClampDiode]:
    """Ten stand-off voltages at 400 W, and the middle ones at 1500 W; clamping at some 1.6 times the stand-off."""
    for power, area, price, standoffs in (
        (400.0, 14.0, 0.25, (6, 10, 13, 16, 20, 22, 26, 30, 40, 51)),
        (1500.0, 47.0, 0.60, (13, 16, 22, 26, 40)),
    ):
        for v_standoff in standoffs:
            v_clamp = rounded(1.62 * v_standoff, 3)
            i_pulse = rounded(power / v_clamp, 3)
            yield ClampDiode(
                name=f"CLAMP {v_standoff}V {power:g}W",
                v_standoff=float(v_standoff),
                v_clamp=v_clamp,
                i_pulse=i_pulse,
                r_dynamic=rounded((v_clamp - 1.18 * v_standoff) / i_pulse, 3),  # from the middle of breakdown
                leakage=(100.0 if v_standoff < 10 else 1.0) * MICRO,
                area=area * MM2,
                cost=price,
            )


def catalogues() -> Iterator[Catalogue[Any]]:
    """Yield the catalogue of every kind."""
    made: tuple[tuple[PartKind[Any], Iterable[Any]], ...] = (
        (switch.PART, switches()),
        (inductor.PART, inductors()),
        (capacitor.PART, [*ceramics(), *cans()]),
        (sense_resistor.PART, sense_resistors()),
        (clamp_diode.PART, clamp_diodes()),
    )
    for part, rows in made:
        yield catalogue(part, rows)


def main() -> int:
    """Write the tables, or check them."""
    check = "--check" in sys.argv[1:]
    stale = 0
    for parts in catalogues():
        path = TABLES / parts.part.table
        text = table_text(parts, COMMENTS)
        if check:
            same = path.is_file() and path.read_text(encoding="utf-8") == text
            stale += not same
            print(f"{path.name}: {'as it should be' if same else 'differs'}")
        else:
            path.write_text(text, encoding="utf-8", newline="\n")
            print(f"{path.name}: {len(parts)} parts")
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
