"""Design rules, weights and part lists as the design file states them."""

from dataclasses import dataclass

from chargewright.spec.fields import group, quantity, text


@dataclass(frozen=True, slots=True, kw_only=True)
class RulesSpec:
    """What a design has to keep to."""

    bus_min: float | None = quantity(
        "V", low=1.0, high=80.0, example="6 V", default=None, why="lowest bus allowed, if not given by the rails"
    )
    bus_max: float | None = quantity(
        "V", low=1.0, high=100.0, example="24 V", default=None, why="highest bus allowed, if not given by the rails"
    )
    v_derating: float = quantity(
        "1",
        low=0.3,
        high=1.0,
        example="80 %",
        default=0.8,
        why="share of a switch's or capacitor's voltage rating that may be used",
    )
    i_derating: float = quantity(
        "1", low=0.3, high=1.0, example="80 %", default=0.8, why="share of a current rating that may be used"
    )
    temp_j_max: float = quantity(
        "K", low=333.15, high=473.15, example="110 °C", default=383.15, why="hottest junction allowed"
    )
    temp_part_max: float = quantity(
        "K", low=333.15, high=473.15, example="100 °C", default=373.15, why="hottest inductor or resistor allowed"
    )
    ripple_max: float = quantity(
        "1",
        low=0.05,
        high=1.5,
        example="40 %",
        default=0.45,
        why="inductor ripple (peak to peak) over the full mean current",
    )
    saturation_margin: float = quantity(
        "1",
        low=0.0,
        high=1.0,
        example="10 %",
        default=0.10,
        why="distance of the peak inductor current below saturation",
    )
    duty_max: float = quantity(
        "1", low=0.5, high=1.0, example="98 %", default=0.98, why="greatest duty of the converter"
    )
    duty_min: float = quantity("1", low=0.0, high=0.5, example="3 %", default=0.03, why="least duty of the converter")
    dead_time: float = quantity("s", low=1e-9, high=1e-6, example="25 ns", default=2.5e-8, why="dead time at each edge")
    v_drive: float = quantity("V", low=3.0, high=15.0, example="5 V", default=5.0, why="gate-drive voltage")
    i_quiescent: float = quantity(
        "A", low=0.0, high=0.1, example="1 mA", default=1e-3, why="supply current of the controller, switching"
    )
    source_margin: float = quantity(
        "1",
        low=0.0,
        high=0.5,
        example="3 %",
        default=0.03,
        why="input limit is set this far below the rated source current",
    )
    bus_ripple: float = quantity(
        "1",
        low=0.0005,
        high=0.2,
        example="1 %",
        default=0.01,
        why="ripple on each side of the converter over its voltage",
    )
    floor_above_empty: float = quantity(
        "V", low=0.0, high=2.0, example="0.1 V", default=0.1, why="how far a narrow bus stays above the pack"
    )
    headroom: float = quantity(
        "V", low=0.0, high=3.0, example="0.3 V", default=0.3, why="least drop that a buck rail needs"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightsSpec:
    """What matters for this product; only the ratios count."""

    energy: float = quantity("1", low=0.0, high=100.0, example="3", default=3.0, why="wall energy over the usage day")
    run_time: float = quantity("1", low=0.0, high=100.0, example="2", default=2.0, why="run time from a full pack")
    heat: float = quantity(
        "1", low=0.0, high=100.0, example="2", default=2.0, why="greatest loss in the product while it charges and runs"
    )
    charge_time: float = quantity(
        "1", low=0.0, high=100.0, example="1", default=1.0, why="charge time with the system running"
    )
    cost: float = quantity(
        "1", low=0.0, high=100.0, example="2", default=2.0, why="cost index of the power path and its rails"
    )
    area: float = quantity("1", low=0.0, high=100.0, example="1", default=1.0, why="board area of the power path")


@dataclass(frozen=True, slots=True, kw_only=True)
class PartsSpec:
    """User tables, merged with the built-in generic parts, and what the sizing may choose from."""

    switches: str | None = text(
        default=None,
        why="CSV table of switches, relative to the design file",
        example="parts/switches.csv",
        names_file=True,
    )
    inductors: str | None = text(
        default=None, why="CSV table of inductors", example="parts/inductors.csv", names_file=True
    )
    capacitors: str | None = text(
        default=None, why="CSV table of capacitors", example="parts/capacitors.csv", names_file=True
    )
    sense_resistors: str | None = text(
        default=None, why="CSV table of sense resistors", example="parts/sense.csv", names_file=True
    )
    clamp_diodes: str | None = text(
        default=None, why="CSV table of clamp diodes", example="parts/clamps.csv", names_file=True
    )
    only_mine: bool = text(default=False, why="whether to leave the built-in generic parts out")
    f_sw: tuple[str, ...] = group(
        default=("400 kHz", "600 kHz", "800 kHz", "1.2 MHz"),
        why="switching frequencies to try",
        example='["600 kHz", "1 MHz"]',
        max_items=12,
    )
