"""Each hardship tells its own story, with its cause: weak source, heat, cold, months on the shelf, endless charge."""

from dataclasses import replace

import numpy as np
import pytest

from chargewright.parts.cell import frozen
from chargewright.sim.usage import Series
from chargewright.studies.usage.run import usage
from chargewright.studies.usage.series import Demand, LoadLog, log_demand
from chargewright.studies.usage.settings import UsageSettings

HOUR = 3600.0
DAY = """\
usage:
  - {mode: work, source: adapter, duration: 7 h}
  - {mode: work, source: none, duration: 2 h}
  - {mode: "off", source: adapter, duration: 15 h}
"""


def lived(b, days=3.0, demand=None, **settings):
    given = UsageSettings(days=days, self_discharge=0.0)
    return usage(
        b.case, b.plan, b.hardware, b.build, settings=replace(given, **settings), demand=demand, engine="plain"
    )


def told(run, key):
    """Return the text of one story; fails where it is not told."""
    texts = {s.key: s.text for s in run.stories}
    assert key in texts, f"told are: {texts}"
    return texts[key]


def keys(run):
    return {s.key for s in run.stories}


def test_a_day_without_trouble_is_told_in_one_sentence(bench, twelve):
    run = lived(bench("direct", twelve + DAY))
    assert keys(run) == {"well"}
    assert "Every load is served" in told(run, "well")


def test_a_weak_source_cuts_the_charge_back(bench, twelve):
    # 20 V and 0.9 A are 17.5 W within the margin, 12 W and its losses are the load's.
    b = bench("narrow-buck", twelve.replace("current: 3.25 A", "current: 0.9 A") + DAY)
    run = lived(b, soc_start=0.2)
    text = told(run, "weak-source")
    assert "the charge is cut back for" in text
    assert "adapter at 873 mA" in text
    assert run.seconds(state="shared") > HOUR


def test_a_load_beyond_the_source_takes_from_the_pack_day_after_day(bench, twelve):
    text = twelve.replace("current: 3.25 A", "current: 0.6 A").replace("load: 12 W", "load: 12 W")
    b = bench("narrow-buck", text + "usage: [{mode: work, source: adapter, duration: 24 h}]\n")
    run = lived(b, days=2.0)
    assert "the pack helps for" in told(run, "weak-source")
    assert "no charge is finished: source and load leave too little for it" in told(run, "never-full")
    assert "the lowest cell was empty" in told(run, "unserved")
    assert run.daily.e_supplement[0] > 10.0 * 3600.0


def test_a_hot_enclosure_stops_the_charge(bench, twelve):
    b = bench("narrow-buck-boost", twelve + DAY)
    cool = lived(b, ambient=(313.15,))
    assert "too-hot-to-charge" not in keys(cool)
    hot = lived(b, ambient=(316.15,), enclosure=4.0)
    text = told(hot, "too-hot-to-charge")
    assert "because the cells are above 45 °C" in text
    assert "warm the pack through the enclosure (4 K/W), with 43 °C around it" in text
    assert float(np.max(hot.daily.temp_high)) > 318.15
    assert float(np.sum(hot.daily.t_blocked)) > 600.0


def test_a_cold_morning_keeps_the_charge_off_until_it_is_warm(bench, twelve):
    b = bench("direct", twelve + "usage: [{mode: work, source: adapter, duration: 24 h}]\n")
    cold, warm = 258.15, 288.15
    ambient = (cold, cold, cold, warm, warm, warm, warm, cold, cold)
    run = lived(b, days=1.0, soc_start=0.3, ambient=ambient)
    text = told(run, "too-cold-to-charge")
    assert "because the cells are below 0 °C" in text
    assert "plate lithium" in text
    # No charge flows into cells below the limit, at any time; half a kelvin is the rows' distance.
    t = run.trace
    assert np.all(t.i_pack[t.temp < 272.65] <= 0.0)
    begins = float(t.t[np.flatnonzero(t.i_pack > 0.0)[0]])
    assert 6 * HOUR < begins < 12 * HOUR
    # A whole day below the limit: never.
    frozen_out = lived(b, days=1.0, soc_start=0.3, ambient=(cold,))
    assert "the temperature of the cells" in told(frozen_out, "never-full")
    assert np.all(frozen_out.trace.i_pack <= 0.0)


def test_a_pack_on_the_shelf_for_months_falls_asleep_and_is_woken(bench, twelve):
    b = bench("direct", twelve)
    month = 30 * 86400.0

    def shelf(days, then=()):
        stretches = [(days * 86400.0, 0.02, -1), *then]
        return Demand(
            title="on the shelf",
            series=Series(
                duration=np.array([s[0] for s in stretches]),
                power=np.array([s[1] for s in stretches]),
                source=np.array([s[2] for s in stretches], dtype=np.int8),
                sources=("adapter",),
            ),
        )

    common = {"self_discharge": 0.03 / month, "step": 1800.0, "soc_start": 0.5}
    never = lived(b, days=200.0, demand=shelf(200.0), **common)
    text = told(never, "asleep")
    assert "its protection board opens" in text
    assert "no source comes to wake it" in text
    assert never.seconds(state="pack asleep") > month
    # Half of 5 Ah at 20 mW of standby and what it takes to make them, 3 % a month beside: some months.
    first = next(e.t for e in never.events if e.what == "pack fell asleep")
    drawn = 0.02 / 7.0 + 0.03 / month * b.case.pack.capacity
    assert 0.1 * month < first < 0.5 * b.case.pack.charge_span / drawn
    woken = lived(b, days=201.0, demand=shelf(200.0, [(86400.0, 12.0, 0)]), **common)
    assert "a source wakes it after 200 d" in told(woken, "asleep")
    assert woken.counts["pack woken"] == 1
    assert woken.soc_end > 0.95


def test_a_parallel_path_never_sees_the_end_of_charge(bench, twelve):
    # Needs row 17 of the practitioners' list: the load lies above the termination current and hides the end.
    b = bench("parallel", twelve + "usage: [{mode: work, source: adapter, duration: 24 h}]\n")
    run = lived(b, days=1.0, soc_start=0.5)
    text = told(run, "never-full")
    assert "measures pack and load current together" in text
    assert "above the 250 mA at which a charge ends" in text
    assert "the charge timer then ends it" in text
    apart = lived(
        bench("direct", twelve + "usage: [{mode: work, source: adapter, duration: 24 h}]\n"), 1.0, soc_start=0.5
    )
    assert apart.counts["charge ended"] == 1


def test_too_little_time_on_a_source_is_told(bench, twelve):
    short = DAY.replace("adapter, duration: 7 h", "none, duration: 30 min").replace(
        "duration: 15 h", "duration: 80 min"
    )
    run = lived(bench("direct", twelve + short), soc_start=0.6, days=2.0)
    assert "the time on a source is too short" in told(run, "never-full")


def test_a_load_across_the_limit_makes_the_pack_flap(bench, twelve):
    text = twelve.replace("load: 12 W", "load: 70 W\nambient: {board: 3 K/W}")
    b = bench("narrow-buck-boost", text)
    power = np.tile([64.0, 40.0], 1800)
    log = LoadLog(
        name="to-and-fro.csv", step=1.0, power=frozen(power), peak=frozen(power),
        source=np.zeros(len(power), dtype=np.int8), sources=("adapter",), energy=float(power.sum()), rows=3600,
        notes=(),
    )  # fmt: skip
    demand = log_demand(b.case, log)
    eager = lived(b, days=1.0 / 24.0, demand=demand, soc_start=0.5, headroom=0.0, dwell=0.0)
    assert "times a day" in told(eager, "flapping")
    calm = lived(b, days=1.0 / 24.0, demand=demand, soc_start=0.5, headroom=0.0, dwell=600.0)
    assert float(np.sum(calm.daily.flips)) < 0.02 * float(np.sum(eager.daily.flips))
    assert "flapping" not in keys(lived(b, days=1.0 / 24.0, demand=demand, soc_start=0.5, headroom=0.5, dwell=0.0))


PEAKS = """\
  peak: {power: 45 W, duration: 10 ms, duty: 1 %}
rules: {bus_min: 6.9 V}
usage:
  - {mode: work, source: none, duration: 2 h}
  - {mode: "off", source: adapter, duration: 22 h}
"""


def test_a_cell_that_runs_ahead_ends_the_charge_and_is_named(bench, twelve):
    # 20 % apart, the smaller of two cells is at 4.25 V while the pack is still below its charge voltage.
    b = bench("direct", twelve.replace("  capacity: 5 Ah", "  capacity: 5 Ah\n  spread_capacity: 20 %") + DAY)
    run = lived(b, days=1.0, soc_start=0.5)
    text = told(run, "highest-cell")
    assert "the highest cell passes 4.25 V before the pack is full" in text
    assert "differ by 20 % in capacity" in text
    assert float(np.max(run.daily.v_cell_high)) == pytest.approx(4.25, abs=0.04)  # a step of a minute at full current


def test_a_full_pack_that_rests_on_its_source_does_not_drift(bench, twelve):
    # 2 % a month by itself: the charger waits for its recharge drop, so nothing runs empty.
    b = bench("direct", twelve + "usage: [{mode: work, source: adapter, duration: 24 h}]\n")
    month = 30 * 86400.0
    run = lived(b, days=40.0, self_discharge=0.02 / month, step=3600.0)
    assert run.daily.soc_end[-1] < run.daily.soc_end[0] - 0.02
    assert keys(run) == {"well"}
    used = (
        'usage:\n  - {mode: work, source: adapter, duration: 20 min}\n  - {mode: "off", source: none, duration: 23 h}\n'
    )
    weak = bench("direct", twelve.replace("current: 3.25 A", "current: 0.7 A") + used)
    assert "at this pace the pack is empty" in told(lived(weak, days=8.0, step=600.0), "drift")


def test_peaks_brown_the_bus_out_where_the_pack_is_low(bench, twelve):
    b = bench("direct", twelve.replace("load: 12 W", "load: 12 W") + PEAKS)
    run = lived(b, days=2.0)
    on_pack = next(p for p in run.peaks if p.source == "")
    assert on_pack.v_needed == 6.9
    assert np.all(np.diff(on_pack.v_lowest[3:]) > 0.0)  # the fuller, the higher
    below = [soc for soc, v in zip(on_pack.soc, on_pack.v_lowest, strict=True) if v < 6.9]
    assert below
    assert "A peak of 45 W on the pack alone brings the bus to" in on_pack.cause
    assert "6.9 V are needed" in on_pack.cause
    # Counted from the trace: seconds on the pack below the state of charge where the dip meets 6.9 V; 1 % of the time
    # in peaks of 10 ms is one peak a second.
    t = run.trace
    edge = float(np.interp(6.9, on_pack.v_lowest[1:], on_pack.soc[1:]))
    dt = np.diff(np.append(t.t, run.length))
    failing = np.sum(dt[(np.array(t.state) == "battery") & (t.soc < edge)])
    assert on_pack.per_day == pytest.approx(failing / 2.0 * 0.01 / 0.01, rel=0.05)
    assert "restarts a day" in told(run, "peaks")
    assert run.brown_outs == pytest.approx(2.0 * sum(p.per_day for p in run.peaks))


def test_capacitance_and_quick_regulation_save_the_bus(bench, twelve):
    # At rest the pack is behind an open switch; until it is closed the capacitors hold.
    def lowest(c, **settings):
        rails = "rails: [{name: all, voltage: 3.3 V, power: 12 W, input_capacitance: " + c + "}]"
        text = twelve.replace("load: 12 W", rails) + PEAKS.replace("45 W", "60 W").replace("off", "work")
        run = lived(bench("narrow-buck-boost", text), days=1.0, **settings)
        return min(v for p in run.peaks if p.source == "adapter" for v in p.v_lowest[-3:])

    slow = lowest("1 uF", t_regulate=400e-6, t_switch=300e-6)
    quick = lowest("1 uF", t_regulate=20e-6, t_switch=5e-6)
    large = lowest("2 mF", t_regulate=400e-6, t_switch=300e-6)
    assert slow < quick
    assert slow < large


def test_peaks_inside_the_steps_of_a_log_are_counted(bench, twelve):
    # 600 steps of a second on the pack, 12 W each; every hundredth holds a peak of 10 W more, or of 60 W more.
    b = bench("direct", twelve + "rules: {bus_min: 6.9 V}\n")
    power, mild, hard = np.full(600, 12.0), np.full(600, 12.0), np.full(600, 12.0)
    mild[::100], hard[::100] = 22.0, 72.0

    def lived_with(peak):
        log = LoadLog(
            name="p.csv", step=1.0, power=frozen(power), peak=frozen(peak), source=np.full(600, -1, dtype=np.int8),
            sources=("adapter",), energy=7200.0, rows=600, notes=(),
        )  # fmt: skip
        return lived(b, days=600.0 / 86400.0, demand=log_demand(b.case, log), soc_start=0.5)

    assert lived_with(power).peaks == ()
    assert lived_with(mild).brown_outs == 0.0
    found = lived_with(hard)
    assert found.brown_outs == pytest.approx(6.0)
    assert found.peaks[0].mode == "peaks of the log, up to 72 W"
    assert "A peak of 72 W on the pack alone brings the bus to" in found.peaks[0].cause


def test_a_design_without_a_peak_has_none_to_judge(bench, twelve):
    assert lived(bench("direct", twelve + DAY), days=1.0).peaks == ()
