"""Transfer functions of a stage between its two ports: three linear equations, solved for every point and frequency.

Coil, input port and output port:

    (s·l − a_i)·i = a_g·v_in + a_o·v_out + a_d·x
    v_in  = v_source − z_in·(b_i·i + b_g·v_in + b_o·v_out + b_d·x)
    v_out = z_out·(c_i·i + c_g·v_in + c_o·v_out + c_d·x + j)

x is the control (duty, or what an inner loop makes of a control voltage), v_source what the source would put on the
open input port, j a current pushed into the output. One of them is 1 and the others 0: the results are transfer
functions.
"""

from typing import Any, Literal, NamedTuple

from chargewright.loops.stage import Linear

Drive = Literal["control", "source", "output"]


class Response(NamedTuple):
    """Coil current and port quantities per unit of what drives them; arrays (n, f)."""

    i_coil: Any
    v_in: Any
    v_out: Any
    i_in: Any
    """Into the stage."""


def response(m: Linear, s: Any, z_in: Any, z_out: Any, drive: Drive = "control") -> Response:
    """Return how coil, ports and input current answer to one drive.

    s     : complex frequency [1/s], broadcasts with the points
    z_in  : what the stage sees at its input [Ω]
    z_out : what it sees at its output [Ω]
    drive : "control" per unit of control, "source" per volt on the open input port, "output" per ampere into the output

    Source: derived here, by elimination in the equations at the top of this file.
    """
    x = 1.0 if drive == "control" else 0.0
    from_source = (1.0 if drive == "source" else 0.0) - z_in * (m.b_d * x)
    from_output = z_out * (m.c_d * x + (1.0 if drive == "output" else 0.0))
    by_i_in, by_i_out = -z_in * m.b_i, z_out * m.c_i
    if _couples(m):
        p, q = 1.0 + z_in * m.b_g, z_in * m.b_o
        r, t = 1.0 - z_out * m.c_o, z_out * m.c_g
        turned = 1.0 / (p * r + q * t)  # one division for four: they are slow
        from_source, from_output = (
            (r * from_source - q * from_output) * turned,
            (p * from_output + t * from_source) * turned,
        )
        by_i_in, by_i_out = (r * by_i_in - q * by_i_out) * turned, (p * by_i_out + t * by_i_in) * turned
    i = (m.a_d * x + m.a_g * from_source + m.a_o * from_output) / (
        s * m.inductance - m.a_i - m.a_g * by_i_in - m.a_o * by_i_out
    )
    v_in, v_out = from_source + by_i_in * i, from_output + by_i_out * i
    return Response(i, v_in, v_out, m.b_i * i + m.b_g * v_in + m.b_o * v_out + m.b_d * x)


def _couples(m: Linear) -> bool:
    return any(not (isinstance(k, float) and k == 0.0) for k in (m.b_g, m.b_o, m.c_g, m.c_o))


def input_impedance(m: Linear, s: Any, z_out: Any) -> Any:
    """Return what the stage shows to its source [Ω], its control standing still.

    With an inner loop in the model, that of the stage with the inner loop at work.
    """
    r = response(m, s, 1.0, z_out, "source")  # any source will do: the ratio is taken at the stage
    return r.v_in / r.i_in


def output_impedance(m: Linear, s: Any, z_in: Any, z_out: Any) -> Any:
    """Return the impedance [Ω] at the output port, capacitors and load included, the control standing still."""
    return response(m, s, z_in, z_out, "output").v_out
