"""The yearly energy of battery chargers in the United States, as information: the primary text rules.

10 CFR 430.32(z) (limits) and 430 subpart B appendix Y (test procedure), for chargers made from 13 June 2018. The rule
counts in Wh, kWh and hours; here as everywhere in joules and seconds.
"""

from dataclasses import dataclass

from chargewright.base.errors import OutOfRange
from chargewright.parts.energy_rules import Comparison

_HOUR = 3600.0
_WATT_HOUR = 3600.0
_KILOWATT_HOUR = 3.6e6


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargerUse:
    """The day of a charger that the test procedure assumes."""

    t_active: float
    """Active and maintenance, per day [s]."""
    t_standby: float
    t_off: float
    charges: float
    """Charges per day."""
    t_threshold: float
    """Length of charge beyond which the second form of the yearly energy holds [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargerClass:
    """One product class of 10 CFR 430.32(z): what falls in it and the yearly energy allowed, slope·e_batt + offset."""

    number: int
    what: str
    slope: float
    """Yearly energy over battery energy [1]."""
    offset: float
    """[J]"""
    least: float
    """Floor of the limit for small batteries [J]; 0 where there is none."""
    e_least: float
    """Battery energy below which the floor holds [J]."""
    use: ChargerUse | None
    """None where no figure was read."""
    status: str


def _class(
    number: int,
    what: str,
    slope: float,
    offset: float,
    use: tuple[float, float, float, float, float] | None,
    status: str,
    *,
    least: float = 0.0,
    e_least: float = 0.0,
) -> ChargerClass:
    """Return a class from the rule's own units: kWh a year per Wh, kWh a year, hours, Wh."""
    day = None
    if use is not None:
        active, standby, off, charges, threshold = use
        day = ChargerUse(
            t_active=active * _HOUR,
            t_standby=standby * _HOUR,
            t_off=off * _HOUR,
            charges=charges,
            t_threshold=threshold * _HOUR,
        )
    return ChargerClass(
        number=number,
        what=what,
        slope=slope * _KILOWATT_HOUR / _WATT_HOUR,
        offset=offset * _KILOWATT_HOUR,
        least=least * _KILOWATT_HOUR,
        e_least=e_least * _WATT_HOUR,
        use=day,
        status=status,
    )


_READ = "confirmed by look-up in a reprint"
_MEMORY = "limit from memory, class bounds and day of use confirmed by look-up"

CHARGER_CLASSES = (
    _class(1, "inductive, for wet places, up to 5 Wh", 0.0, 3.04, (20.66, 0.10, 0.0, 0.15, 137.73), _READ),
    _class(2, "under 100 Wh, under 4 V", 0.1440, 2.95, (7.82, 5.29, 0.0, 0.54, 14.48), _READ),
    _class(
        3, "under 100 Wh, 4 V to 10 V", 0.0255, 1.16, (6.42, 0.30, 0.0, 0.10, 64.20), _MEMORY, least=1.42, e_least=10.0
    ),
    _class(4, "under 100 Wh, over 10 V", 0.11, 3.18, (16.84, 0.91, 0.0, 0.50, 33.68), _MEMORY),
    _class(5, "100 Wh to 3000 Wh, under 20 V", 0.0257, 0.815, (6.52, 1.16, 0.0, 0.11, 59.27), _MEMORY),
    _class(6, "100 Wh to 3000 Wh, 20 V and over", 0.0778, 2.4, None, "from memory"),
    _class(7, "over 3000 Wh", 0.0502, 4.53, None, "from memory"),
)
"""10 CFR 430.32(z) and 430 subpart B appendix Y table 3.3.3, in force for chargers made from 13 June 2018."""

_CHARGER_RULE = "US 10 CFR 430.32(z)"


def charger_class(e_batt: float, v_batt: float, *, wet_inductive: bool = False) -> ChargerClass:
    """Return the class of a charger by the energy [J] and the nominal voltage [V] of its battery."""
    if wet_inductive and e_batt <= 5.0 * _WATT_HOUR:
        number = 1
    elif e_batt < 100.0 * _WATT_HOUR:
        number = 2 if v_batt < 4.0 else 3 if v_batt <= 10.0 else 4
    elif e_batt <= 3000.0 * _WATT_HOUR:
        number = 5 if v_batt < 20.0 else 6
    else:
        number = 7
    return CHARGER_CLASSES[number - 1]


def charger_limit(class_: ChargerClass, e_batt: float) -> float:
    """Return the yearly energy [J] that 10 CFR 430.32(z) allows a charger for a battery of `e_batt` joules."""
    return class_.least if e_batt < class_.e_least else class_.slope * e_batt + class_.offset


def charger_yearly_energy(
    class_: ChargerClass,
    *,
    e_24: float,
    e_batt: float,
    p_maintenance: float,
    p_standby: float,
    p_off: float,
    t_charge_test: float,
) -> float:
    """Return the yearly energy [J] of a charger by 10 CFR 430 subpart B appendix Y, 3.3.13 (reprint, confirmed).

    With n charges a day, of which the test takes t (times in hours there):

        e = 365·(n·(e_24 − 5·p_m − e_batt)·24/t + p_m·(t_am − (t − 5)·n) + p_sb·t_sb + p_off·t_off)

    or, where t - 5 exceeds the class's threshold,

        e = 365·(n·(e_24 − 5·p_m − e_batt)·24/(t − 5) + p_sb·t_sb + p_off·t_off)

    e_24          : energy from the wall in the 24-hour charge and maintenance test [J]
    e_batt        : energy out of the battery in the discharge test [J]
    p_maintenance : power with a full battery [W]; p_standby: without one; p_off: switched off
    t_charge_test : length of the charge and maintenance test [s]
    Raises OutOfRange for classes 6 and 7, of which the day of use was not read.
    """
    use = class_.use
    if use is None:
        raise OutOfRange(f"{_CHARGER_RULE}: the day of use of class {class_.number} was not read")
    settle, day = 5.0 * _HOUR, 24.0 * _HOUR
    into_charge = use.charges * (e_24 - settle * p_maintenance - e_batt)
    idle = p_standby * use.t_standby + p_off * use.t_off
    if t_charge_test - settle > use.t_threshold:
        return 365.0 * (into_charge * day / (t_charge_test - settle) + idle)
    kept_full = p_maintenance * (use.t_active - (t_charge_test - settle) * use.charges)
    return 365.0 * (into_charge * day / t_charge_test + kept_full + idle)


def judge_battery_charger(e_batt: float, v_batt: float, e_yearly: float, *, wet_inductive: bool = False) -> Comparison:
    """Return the yearly energy [J] of a charger beside the limit of its class."""
    class_ = charger_class(e_batt, v_batt, wet_inductive=wet_inductive)
    return Comparison(
        rule=_CHARGER_RULE,
        class_=f"class {class_.number}: {class_.what}",
        quantity="energy per year",
        value=e_yearly,
        limit=charger_limit(class_, e_batt),
        unit="J",
        sense="at most",
        status=class_.status,
    )
