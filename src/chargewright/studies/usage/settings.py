"""What a usage run is set to."""

from dataclasses import dataclass

from chargewright.studies.operate import Edge

MONTH = 30.0 * 86400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class UsageSettings:
    """How long, where and with which habits of charger and product; SI. Defaults without a note: common practice."""

    days: float = 30.0
    soc_start: float = 1.0
    ambient: tuple[float, ...] = ()
    """Temperature around the product through the day, at equal distances, the last equal to the first [K]; the
    design's usual ambient if empty."""
    enclosure: float = 0.0
    """Rise of the pack's surroundings over the losses of the path [K/W]; 0 for a pack that stands apart."""
    pack_cooling: float | None = None
    """Thermal resistance of the whole pack to its surroundings [K/W]; that of free-standing cells if None."""
    self_discharge: float = 0.02 / MONTH
    """Share of the capacity that the pack loses by itself, its protection board included [1/s]."""
    edge: Edge = "typ"
    """Of the source's tolerance."""
    headroom: float = 0.05
    """Share of the source's limit that has to be free again before supplement ends."""
    dwell: float = 2.0
    """Least time in supplement [s]."""
    restart: float = 60.0
    """Least time that a product which was shut down stays off [s]."""
    retry: float = 1.0
    """How long a source that has tripped stays off before it tries again [s]."""
    wake: float = 5.0
    """How long a charger takes to wake a pack that is asleep [s]."""
    step: float = 60.0
    """Longest step [s]; a log's own step where that is shorter."""
    rows: int = 5000
    """Rows of the trace."""
    t_regulate: float = 50e-6
    """From a load step to the answer of the regulation [s]."""
    t_switch: float = 20e-6
    """From the bus falling below the pack to the battery switch being closed [s]."""
