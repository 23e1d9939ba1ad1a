"""What the bench has to have and to keep to, whatever the design."""

from chargewright.bench.meters import AMPS, HERTZ, KELVINS, MILLIAMPS, MILLIVOLTS, VOLTS, Meter
from chargewright.bench.records import Instrument


def _meter(name: str, range_: str, meter: Meter, unit: str) -> Instrument:
    return Instrument(name=name, range=range_, accuracy=meter.says(unit))


METERS = (
    _meter("voltmeters", "four at once, each at the board's own pads", VOLTS, "V"),
    _meter("voltmeter for small drops", "lowest range", MILLIVOLTS, "V"),
    _meter("current shunts", "source side and pack side, in the wire", AMPS, "A"),
    _meter("current meter for idle currents", "lowest range, in the source's wire", MILLIAMPS, "A"),
    _meter("thermocouples", "board, hottest parts, cells", KELVINS, "K"),
    _meter("oscilloscope", "four channels, short ground leads", HERTZ, "Hz"),
)

CAUTIONS = (
    "Never connect or test unattended. Fire-safe place, eye protection, no metal on hands and wrists, and a means of "
    "disconnection within reach of whoever works.",
    "Every step passes before the next one begins. A reading outside its limits ends the day, not only the step.",
    "The pack comes last: until the charge steps a bidirectional supply stands in for it. It is no pack, though: its "
    "impedance is another and it has no slope of rest voltage, so it says nothing about stability.",
    "Charge limits hold for each cell. Never raise a charge voltage, never charge below the cold limit, never bypass a "
    "thermistor, a timer or a protection switch to make a step pass.",
    "The charger is not the safety device. The pack under test has its own certified protection, and stays in it.",
    "Writes go through limits and are read back; a stop that returns to no charge is tried before the first charge.",
)

LEFT_OUT = (
    "Stability of the loops, and waveforms in time: no number here says that they are right.",
    "Protections inside the pack: they are qualified with the pack, never by over-charging it on this bench.",
    "Faults (shorts, open switches, reversed source): they need a plan of their own, with expendable boards.",
    "Emission, immunity and safety tests of the standards.",
)
