"""Tables of the regulation loops: margins and amplifiers, the source side against the stage, loop gains as curves."""

from typing import Any

import numpy as np

from chargewright.loops.compensator import Designed, Transconductance
from chargewright.report.tables import DataTable, column, table_form
from chargewright.studies.stability import Bode, LoopReport, Stability

LOOPS = table_form(
    "loops",
    "Regulation loops: margins over the envelope, and the amplifiers that give them",
    (
        column("loop", "loop"),
        column("title", "regulates"),
        column("mode", "stage is"),
        column("reverse", "from pack to bus", kind="flag"),
        column("passes", "keeps the rule", kind="flag"),
        column("stable", "stable everywhere", kind="flag"),
        column("corners", "corners", kind="count"),
        column("f_cross", "crossover, usual", "Hz"),
        column("phase_usual", "phase margin, usual", "rad"),
        column("gain_usual", "gain margin, usual", "1"),
        column("f_cross_low", "lowest crossover", "Hz"),
        column("f_cross_high", "highest crossover", "Hz"),
        column("phase_least", "least phase margin", "rad"),
        column("phase_corner", "phase margin is least with"),
        column("gain_least", "least gain margin", "1"),
        column("gain_corner", "gain margin is least with"),
        column("gain_fall_to", "gain may fall to", "1"),
        column("distance_least", "least distance from minus one", "1"),
        column("amplifier", "amplifier"),
        column("gm", "transconductance", "A/V"),
        column("r_z", "R of the zero", "ohm"),
        column("c_z", "C of the zero", "F"),
        column("c_p", "C of the pole", "F"),
        column("r_1", "R1", "ohm"),
        column("r_2", "R2", "ohm"),
        column("r_3", "R3", "ohm"),
        column("c_1", "C1", "F"),
        column("c_2", "C2", "F"),
        column("c_3", "C3", "F"),
        column("bus_c", "capacitor that the bus needs", "F"),
        column("bus_r", "resistor in series with it", "ohm"),
        column("bus_phase", "least phase margin with it", "rad"),
    ),
)
_VALUES = ("gm", "r_z", "c_z", "c_p", "r_1", "r_2", "r_3", "c_1", "c_2", "c_3")


def loops_table(found: Stability) -> DataTable:
    """Return one row for each loop."""
    return LOOPS.filled([_loop(r) for r in found.loops])


def _loop(r: LoopReport) -> tuple[Any, ...]:
    m = r.margins
    at_phase, at_gain = int(np.argmin(m.phase)), int(np.argmin(m.gain))
    crossed = m.f_cross[np.isfinite(m.f_cross)]
    values, with_it = values_of(r), r.stiffened
    return (
        r.key,
        r.title,
        r.mode,
        r.reverse,
        r.passes,
        bool(np.all(m.stable)),
        len(r.corners),
        float(m.f_cross[-1]),
        float(m.phase[-1]),
        float(m.gain[-1]),
        float(np.min(crossed)) if len(crossed) else None,
        float(np.max(crossed)) if len(crossed) else None,
        float(m.phase[at_phase]),
        r.corners[at_phase],
        float(m.gain[at_gain]),
        r.corners[at_gain],
        float(np.max(m.gain_down)),
        float(np.min(m.modulus)),
        r.designed.kind,
        *(values.get(name) for name in _VALUES),
        *((with_it.damper.c, with_it.damper.r, with_it.phase_margin) if with_it is not None else (None, None, None)),
    )


def values_of(r: LoopReport) -> dict[str, float]:
    """Return the values of an amplifier's parts by their keys; what is not fitted is left out."""
    return part_values(r.designed)


def part_values(made: Designed) -> dict[str, float]:
    """Return the same of an amplifier alone."""
    built = made.built
    names = ("gm", "r_z", "c_z", "c_p") if isinstance(built, Transconductance) else _VALUES[4:]
    values = {name: float(getattr(built, name)) for name in names}
    return {name: value for name, value in values.items() if value > 0.0}


SOURCE_FILTER = table_form(
    "source_filter",
    "Cable and input capacitors against the stage",
    (
        column("loop", "loop at work"),
        column("passes", "keeps the rule", kind="flag"),
        column("apart", "6 dB below the stage everywhere", kind="flag"),
        column("ratio", "greatest ratio of impedances", "1"),
        column("distance", "least distance from minus one", "1"),
        column("corner", "with"),
        column("damper_c", "damper's capacitor", "F"),
        column("damper_r", "damper's resistor", "ohm"),
        column("distance_damped", "distance with the damper", "1"),
    ),
)


def filter_table(found: Stability) -> DataTable:
    """Return the one row of the source side."""
    f = found.filter
    advice = f.damper
    row = (
        f.loop,
        f.passes,
        f.apart,
        float(np.max(f.ratio)),
        float(f.distance[f.worst]),
        f.worst_corner,
        advice.c if advice is not None else None,
        advice.r if advice is not None else None,
        f.distance_damped if advice is not None else None,
    )
    return SOURCE_FILTER.filled([row])


LOOP_GAINS = table_form(
    "loop_gains",
    "Loop gains: the usual point and the worst corner",
    (
        column("loop", "loop"),
        column("at", "at"),
        column("f", "frequency", "Hz"),
        column("gain", "gain", "1"),
        column("phase", "phase", "rad"),
    ),
)


def gains_table(found: Stability) -> DataTable:
    """Return every loop's gain against frequency, at the usual point and at its worst corner."""
    rows = [
        (r.key, at, float(f), float(size), float(phase))
        for r in found.loops
        for at, bode in (("usual", r.nominal), ("worst", r.at_worst))
        for f, size, phase in zip(bode.f, bode.size, settled_phase(bode), strict=True)
    ]
    return LOOP_GAINS.filled(rows)


ENVELOPE = table_form(
    "loop_envelope",
    "Margins of every loop at every point of its envelope",
    (
        column("loop", "loop"),
        column("usual", "usual point", kind="flag"),
        column("feed", "fed by"),
        column("level", "pack or bus"),
        column("v_in", "stage input", "V"),
        column("v_out", "stage output", "V"),
        column("v_pack", "pack at rest", "V"),
        column("i_pack", "into the pack", "A"),
        column("p_load", "load", "W"),
        column("temp", "ambient", "K"),
        column("l_sign", "inductance in its tolerance", "1"),
        column("c_sign", "capacitance in its tolerance", "1"),
        column("stable", "stable", kind="flag"),
        column("f_cross", "crossover", "Hz"),
        column("phase", "phase margin", "rad"),
        column("gain", "gain margin", "1"),
        column("gain_fall_to", "gain may fall to", "1"),
        column("distance", "distance from minus one", "1"),
    ),
)


def envelope_table(found: Stability) -> DataTable:
    """Return every point of every loop; tolerances run from −1 at their lower to 1 at their upper end."""
    rows = []
    for r in found.loops:
        w, m, last = r.where, r.margins, len(r.corners) - 1
        numbers = (w.v_in, w.v_out, w.v_pack, w.i_pack, w.p_load, w.temp, w.l_sign, w.c_sign)
        judged = (m.f_cross, m.phase, m.gain, m.gain_down, m.modulus)
        for k in range(last + 1):
            at, told = (tuple(float(x[k]) for x in arrays) for arrays in (numbers, judged))
            rows.append((r.key, k == last, w.feed[k], w.level[k], *at, bool(m.stable[k]), *told))
    return ENVELOPE.filled(rows)


def settled_phase(bode: Bode) -> Any:
    """Return the phase [rad], by whole turns so that it starts between a quarter and −three quarters of a turn."""
    turns = np.ceil((bode.phase[0] - 0.5 * np.pi) / (2.0 * np.pi))
    return bode.phase - 2.0 * np.pi * turns
