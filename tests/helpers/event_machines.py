"""Small invented machines for tests of event orders: 20 V and 3.25 A, two cells, 24 W."""

from typing import Any

from chargewright.sim.sequence_rules import CONSTANT, HICCUPS, Machine

USUAL: dict[str, Any] = {
    "narrow": False, "switched": True, "helps": False, "buck": True, "kind": HICCUPS, "talks": False,
    "e_0": 20.0, "e_1": 20.0, "i_rated_0": 3.25, "i_rated_1": 3.25, "i_trip_0": 3.6, "i_trip_1": 3.6,
    "i_limit_0": 3.15, "i_limit_1": 3.15, "v_hold_0": 17.0, "v_hold_1": 17.0, "t_trip": 2e-3, "fold": 0.3,
    "beyond": 1.5, "t_off": 1.0, "t_attach": 1e-3, "t_move": 0.3, "t_reset": 0.8, "t_dip": 0.2, "r_line": 0.11,
    "r_in": 0.022, "c_in": 20e-6, "c_bus": 40e-6, "g_in": 1e-5, "g_bus": 5e-5, "v_good": 9.0, "v_bad": 8.5,
    "t_check": 20e-3, "t_retry": 0.5, "t_ramp": 50e-3, "slew": 5e3, "loss_idle": 0.1, "loss_share": 0.05,
    "p_most": 60.0, "duty_most": 0.98, "tau": 15e-6, "v_set": 8.5, "ocv_flat": 6.2, "ocv_half": 7.4,
    "ocv_full": 8.4, "i_charge_flat": 0.4, "i_charge_half": 2.0, "r_pack": 0.08, "r_switch": 0.02, "r_slow": 0.04,
    "tau_slow": 10.0, "i_pack_most": 12.0, "v_diode": 0.75, "v_below": 0.03, "t_close": 20e-6, "t_help": 100e-6,
    "t_leave": 2.0, "headroom": 0.02, "v_cut": 5.5, "t_cut": 0.1, "t_wake": 5.0, "p_boot": 9.0, "p_light": 3.0,
    "p_busy": 24.0, "p_peak": 42.0, "t_boot": 2.0, "t_peak": 20e-3, "v_off": 5.5, "v_on": 5.8, "v_shut": 5.95,
    "t_shut": 0.05, "t_restart": 0.1, "locks": True,
}  # fmt: skip
DIRECT = Machine(**USUAL)
NARROW = DIRECT._replace(narrow=True, helps=True)
BOOST = DIRECT._replace(helps=True)
TALKS = DIRECT._replace(talks=True, e_0=4.75, i_rated_0=3.0, i_limit_0=2.9, i_trip_0=3.3, v_hold_0=4.3)
WEAK = NARROW._replace(
    buck=False, e_0=4.75, e_1=4.75, i_rated_0=3.0, i_rated_1=3.0, i_limit_0=2.9, i_limit_1=2.9, v_hold_0=0.0,
    v_hold_1=0.0, r_line=0.6, v_good=4.0, v_bad=3.8, i_trip_0=3.5, i_trip_1=3.5, p_most=30.0, p_busy=4.0, p_boot=3.0,
    p_peak=4.0,
)  # fmt: skip
"""A weak 5 V source on a long cable, before a four-switch stage; nothing holds the input up."""
ALL = {
    "direct": DIRECT,
    "narrow": NARROW,
    "boost": BOOST,
    "talks": TALKS,
    "parallel": NARROW._replace(switched=False),
    "constant": DIRECT._replace(kind=CONSTANT),
    "weak": WEAK,
}
