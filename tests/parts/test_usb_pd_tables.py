"""Tables of USB Power Delivery and Type-C: power rule, timers, limits, pull-ups."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargewright.base.errors import OutOfRange, PartsError
from chargewright.parts.usb_pd import limits, timing
from chargewright.parts.usb_pd.objects import EprAvsObject, FixedObject, PpsObject, encode_source_object
from chargewright.parts.usb_pd.power_rule import objects_by_power
from chargewright.parts.usb_pd.type_c import ADVERTISEMENTS, advertised_by, advertisement, pin_voltage


@pytest.mark.parametrize(
    ("power", "v", "i"),
    # USB PD R3.2 ch. 10, highest object by rated power; confirmed by look-up in a public table. Exact.
    [(15, 5, 3), (27, 9, 3), (45, 15, 3), (60, 20, 3), (100, 20, 5), (140, 28, 5), (180, 36, 5), (240, 48, 5)],
)
def test_the_highest_object_follows_the_power_rule(power: float, v: float, i: float):
    highest = objects_by_power(power)[-1]
    assert isinstance(highest, FixedObject)
    assert (highest.v, highest.i) == (v, i)


def test_a_65_watt_source_offers_four_objects():
    # Same table: 3 A at each lower voltage, and 65 W / 20 V = 3.25 A at the highest.
    assert objects_by_power(65.0) == tuple(
        FixedObject(v=v, i=i) for v, i in ((5.0, 3.0), (9.0, 3.0), (15.0, 3.0), (20.0, 3.25))
    )


def test_the_programmable_range_follows_the_highest_voltage():
    # Ends of the ranges: 3.3 V; 5.9, 11, 16 and 21 V for up to 15, 27, 45 W and above; confirmed by look-up in a
    # public design guide for power supplies. Currents as of the fixed object (PD R3.2 ch. 10, from memory).
    found = {
        p: [o for o in objects_by_power(p, programmable=True) if isinstance(o, PpsObject)]
        for p in (15, 27, 45, 60, 100)
    }
    assert {p: [(o.v_min, o.v_max, o.i) for o in ranges] for p, ranges in found.items()} == {
        15: [(3.3, 5.9, 3.0)],
        27: [(3.3, 11.0, 3.0)],
        45: [(3.3, 16.0, 3.0)],
        60: [(3.3, 21.0, 3.0)],
        100: [(3.3, 21.0, 5.0)],
    }


@pytest.mark.parametrize(("power", "v_max"), [(140.0, 28.0), (180.0, 36.0), (240.0, 48.0)])
def test_above_100_watts_an_adjustable_range_comes_last(power: float, v_max: float):
    # USB PD R3.2 6.4.1, the ranges whose words are known answers (recomputed): 15 V to 28, 36 and 48 V.
    assert objects_by_power(power, programmable=True)[-1] == EprAvsObject(v_min=15.0, v_max=v_max, power=power)


@given(st.floats(0.5, 240.0), st.booleans())
def test_every_object_of_the_power_rule_has_a_word_and_keeps_to_the_power(power: float, programmable: bool):
    objects = objects_by_power(power, programmable=programmable)
    for entry in objects:
        encode_source_object(entry)
        if isinstance(entry, FixedObject):
            assert entry.v * entry.i <= power + 1e-6  # rounding of the product only
    fixed = [entry for entry in objects if isinstance(entry, FixedObject)]
    assert fixed[0].v == 5.0
    # The highest loses less than one step of 10 mA at its voltage.
    assert fixed[-1].v * fixed[-1].i > power - 0.01 * fixed[-1].v - 1e-6
    assert all(a.v < b.v for a, b in itertools.pairwise(fixed))


@pytest.mark.parametrize("power", [0.0, 241.0])
def test_the_power_rule_ends_at_240_watts(power: float):
    with pytest.raises(OutOfRange, match="240 W"):
        objects_by_power(power)


@pytest.mark.parametrize(
    ("name", "t_min", "t_max"),
    # USB PD 6.6 and 7; constants in an open policy engine and in Linux pd.h (confirmed by look-up). Exact.
    [
        ("tSrcTransition", 0.025, 0.035),
        ("tSrcSettle", None, 0.275),
        ("tPSTransition", 0.450, 0.550),
        ("tPSHardReset", 0.025, 0.035),
        ("tSrcRecover", 0.660, 1.000),
        ("tPSSourceOff", 0.750, 0.920),
        # USB Type-C (confirmed by look-up).
        ("tSinkAdj", None, 0.060),
    ],
)
def test_a_timer_has_the_standard_s_window(name: str, t_min: float | None, t_max: float):
    entry = timing.timer(name)
    assert (entry.t_min, entry.t_max) == (t_min, t_max)


def test_an_unknown_timer_names_the_nearest():
    with pytest.raises(PartsError, match="did you mean 'tSinkAdj'"):
        timing.timer("tSinkAdjust")


def test_the_limits_are_the_standard_s():
    # PD ch. 7: 30 mV/us, 100 uF, 2.5 W (quoted in three open hardware reviews, confirmed by look-up); 0.8 V for an
    # empty bus (confirmed by look-up); 4.75 to 5.5 V and 0.5 V of excursion (from memory). USB Type-C 4.4.1: 500 mV
    # in the supply, 250 mV in the return (confirmed by look-up). USB 2.0 7.2.4.1: 10 uF (from memory).
    assert pytest.approx(0.030 / 1e-6, rel=1e-15) == limits.SLEW_MAX  # the division rounds in the last digit
    assert limits.BULK_CAPACITANCE_MAX == 100e-6
    assert limits.BULK_CAPACITANCE_MAX_AT_ATTACH == 10e-6
    assert limits.POWER_STANDBY == 2.5
    assert limits.SAFE_0_VOLTS_MAX == 0.8
    assert (limits.SAFE_5_VOLTS.low, limits.SAFE_5_VOLTS.high) == (4.75, 5.5)
    assert limits.EXCURSION_WHILE_MOVING == 0.5
    assert (limits.DROP_SUPPLY_MAX, limits.DROP_RETURN_MAX) == (0.5, 0.25)


@pytest.mark.parametrize(
    ("i", "low", "high"),
    # iPpsCLNew: +/-150 mA up to 3 A, +/-5 % above; confirmed by look-up in a public article on PPS.
    [(1.0, 0.85, 1.15), (3.0, 2.85, 3.15), (5.0, 4.75, 5.25)],
)
def test_a_programmable_source_holds_a_current_within_the_standard_s_band(i: float, low: float, high: float):
    band = limits.current_limit_band(i)
    assert (band.low, band.typ, band.high) == pytest.approx((low, i, high), rel=1e-12)  # rounding


@pytest.mark.parametrize(("i", "r"), [(5.0, 0.150), (3.0, 0.250)])
def test_the_cable_drop_allowed_gives_the_loop_resistance(i: float, r: float):
    # USB Type-C 4.4.1: 500 mV + 250 mV at rated current (confirmed by look-up; recomputed). rel: rounding.
    assert limits.cable_resistance_max(i) == pytest.approx(r, rel=1e-12)


@pytest.mark.parametrize(
    ("v", "i", "v_sink", "p_sink"),
    # 5 % below and the cable drop of USB Type-C 4.4.1 (tolerance and drop confirmed by look-up; recomputed).
    [(20.0, 5.0, 18.25, 91.25), (9.0, 3.0, 7.80, 23.40), (5.0, 3.0, 4.00, 12.00), (48.0, 5.0, 44.85, 224.25)],
)
def test_the_worst_steady_sink_voltage_is_what_the_two_limits_leave(v: float, i: float, v_sink: float, p_sink: float):
    assert limits.worst_sink_voltage(v, i) == pytest.approx(v_sink, rel=1e-12)  # rounding
    assert limits.worst_sink_voltage(v, i) * i == pytest.approx(p_sink, rel=1e-12)


@pytest.mark.parametrize(
    ("v", "low", "high"),
    # vSrcNew, 5 % either way at the source's receptacle (confirmed by look-up; recomputed).
    [(20.0, 19.0, 21.0), (28.0, 26.6, 29.4), (48.0, 45.6, 50.4)],
)
def test_a_contract_has_the_standard_s_band(v: float, low: float, high: float):
    band = limits.contract_band(v)
    assert (band.low, band.typ, band.high) == pytest.approx((low, v, high), rel=1e-12)  # rounding


@pytest.mark.parametrize(("v_to", "t"), [(20.0, 0.500e-3), (48.0, 1.4333e-3)])
def test_the_voltage_moves_no_faster_than_the_standard_allows(v_to: float, t: float):
    # 30 mV/us (confirmed by look-up in open hardware reviews; recomputed). rel 1e-4: the digits shown.
    assert timing.shortest_move(5.0, v_to) == pytest.approx(t, rel=1e-4)
    assert timing.shortest_move(v_to, 5.0) == timing.shortest_move(5.0, v_to)


@pytest.mark.parametrize(
    ("key", "i_pull", "tol", "r_to_5", "r_to_3_3", "v_pin", "v_above"),
    # USB Type-C tables 4-2x and 4-3x (confirmed by look-up); pin voltages on 5.1 kohm recomputed.
    [
        ("default", 80e-6, 0.20, 56e3, 36e3, 0.408, 0.20),
        ("1.5 A", 180e-6, 0.08, 22e3, 12e3, 0.918, 0.66),
        ("3 A", 330e-6, 0.08, 10e3, 4.7e3, 1.683, 1.23),
    ],
)
def test_an_advertisement_has_the_standard_s_pull_up_and_threshold(key, i_pull, tol, r_to_5, r_to_3_3, v_pin, v_above):
    entry = advertisement(key)
    assert entry.i_pull.typ == i_pull
    assert entry.i_pull.low == pytest.approx(i_pull * (1 - tol), rel=1e-12)  # rounding
    assert entry.i_pull.high == pytest.approx(i_pull * (1 + tol), rel=1e-12)
    assert (entry.r_to_5_volts, entry.r_to_3_volts_3, entry.v_above) == (r_to_5, r_to_3_3, v_above)
    assert pin_voltage(entry).typ == pytest.approx(v_pin, rel=1e-6)  # the digits shown in the table


@pytest.mark.parametrize("entry", ADVERTISEMENTS, ids=lambda entry: entry.key)
def test_a_sink_reads_each_advertisement_over_its_whole_band(entry):
    # Second road: worst pull-up current on a 10 % pull-down (USB Type-C, from memory) still falls in the right window.
    low, high = pin_voltage(entry, 5.1e3 * 0.9).low, pin_voltage(entry, 5.1e3 * 1.1).high
    assert advertised_by(low) is entry
    assert advertised_by(high) is entry


def test_resistor_pull_ups_are_read_as_what_they_advertise():
    # Second road: the divider of the resistor forms with 5.1 kohm, at nominal supplies, by Ohm's law.
    for entry in ADVERTISEMENTS:
        assert advertised_by(5.0 * 5.1 / (5.1 + entry.r_to_5_volts / 1e3)) is entry
        assert advertised_by(3.3 * 5.1 / (5.1 + entry.r_to_3_volts_3 / 1e3)) is entry


@pytest.mark.parametrize("v_pin", [0.0, 0.1, 2.5, 3.3])
def test_a_pin_that_is_low_or_open_advertises_nothing(v_pin: float):
    assert advertised_by(v_pin) is None
