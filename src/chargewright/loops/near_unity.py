"""A four-switch stage near unity gain in discontinuous conduction: one leg keeps a least pulse, the other is moved.

One period: the coil is charged from the input during the least pulse k, lies between input and output until the input
leg's duty ends, and is emptied into the output; then it rests. With K = T/l, x = duty − k and the two corners of the
current p_1 = K·k·v_in, p_2 = p_1 + K·x·(v_in − v_out):

    i_in = p_1·k/2 + (p_1 + p_2)·x/2        i_out = i − p_1·k/2
    l·di/dt = p_2/K − 2·v_out·(i − i_in)/p_2

The last term is the share of the period in which the coil is emptied, as the mean current tells it (J. Sun et al., IEEE
Trans. Power Electronics 16(4), 2001, from memory); with k = 0 this is the buck. Derived here from the areas of the
waveform. Where the least pulses alone would carry more than the current, both legs pulse together: a buck-boost.
"""

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from chargewright.loops.stage import StagePoints


def least_current(v_in: Any, v_out: Any, k: Any, period_over_l: Any) -> Any:
    """Return the mean coil current [A] that the least pulse on both legs carries; below it they pulse together."""
    return 0.5 * v_in * k**2 * period_over_l * (1.0 + v_in / v_out)


def pulse_duty(p: "StagePoints", k: Any) -> tuple[Any, Any]:
    """Return the duty of the input leg, and where the current rests at zero within the period."""
    over = p.period / p.inductance
    gain = p.v_in / p.v_out
    first = p.v_in * k * over
    a, b = 0.5 * (p.v_in - p.v_out) * over * gain, first * gain
    c = least_current(p.v_in, p.v_out, k, over) - p.i_coil
    with np.errstate(all="ignore"):
        x = -2.0 * c / (b + np.sqrt(b**2 - 4.0 * a * c))
        empty = k * gain + x * (gain - 1.0)
        return k + x, (x >= 0.0) & (k + x + empty < 1.0)


def emptied_for(p: "StagePoints", duty: Any, k: Any) -> Any:
    """Return the share of the period in which the coil is emptied after the pulse of the input leg [1]."""
    return (p.v_in * duty - p.v_out * (duty - k)) / p.v_out


def pulse_derivatives(p: "StagePoints", duty: Any, k: Any) -> tuple[Any, ...]:
    """Return the twelve derivatives, of coil voltage, input and output current by i, v_in, v_out and duty."""
    over, x, i = p.period / p.inductance, duty - k, p.i_coil
    first = over * k * p.v_in
    second = first + over * x * (p.v_in - p.v_out)
    taken = 0.5 * first * k + 0.5 * (first + second) * x
    second_by = {"g": over * duty, "o": -over * x, "d": over * (p.v_in - p.v_out)}
    taken_by = {
        "g": 0.5 * over * (k**2 + (k + duty) * x),
        "o": -0.5 * over * x**2,
        "d": 0.5 * (first + second + x * second_by["d"]),
    }
    with np.errstate(all="ignore"):
        share = 2.0 * (i - taken) / second

        def coil(by: str) -> Any:
            ease = (2.0 * taken_by[by] + share * second_by[by]) / second
            return second_by[by] / over + p.v_out * ease - (share if by == "o" else 0.0)

        none = 0.0 * duty
        return (
            *(-2.0 * p.v_out / second, coil("g"), coil("o"), coil("d")),
            *(none, taken_by["g"], taken_by["o"], taken_by["d"]),
            *(1.0 + none, -0.5 * over * k**2 + none, none, none),
        )
