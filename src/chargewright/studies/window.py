"""The bus window of a path: where the bus can stand with a source, on the pack alone, and what the rails allow."""

from dataclasses import dataclass

import numpy as np

from chargewright.network.hardware import Hardware
from chargewright.studies.needs import Plan
from chargewright.studies.operate import operate
from chargewright.studies.situation import Situation


@dataclass(frozen=True, slots=True, kw_only=True)
class BusWindow:
    """Bus voltages in V; nan where a case does not exist."""

    source_min: float
    """Source present, low edge, worn cable, busiest load, flat to full pack."""
    source_max: float
    pack_min: float
    """Pack alone, depleted, busiest load; the voltage before the rails give up."""
    pack_max: float
    """Pack alone, full, standby load."""
    allowed_min: float
    allowed_max: float

    @property
    def width(self) -> float:
        """Highest over lowest bus [1]."""
        return max(self.source_max, self.pack_max) / min(self.source_min, self.pack_min)


def bus_window(case: Situation, chosen: Plan, hardware: Hardware) -> BusWindow:
    """Return the bus window of a path."""
    path, ambient = chosen.path, case.design.ambient
    soc = np.array([0.0, 0.02, 0.05, 0.1, 0.3, 0.6, 1.0])
    low, high = [], []
    for name, supply in chosen.contracts.items():
        through = name in chosen.through
        worst = operate(
            case,
            path,
            hardware,
            supply,
            soc=soc,
            p_load=case.p_busy,
            temp=ambient.typical,
            edge="low",
            pass_through=through,
        )
        idle = operate(
            case, path, hardware, supply, soc=soc, p_load=0.0, temp=ambient.typical, edge="high", pass_through=through
        )
        low.append(np.nanmin(worst.v_bus, initial=np.inf))
        high.append(np.nanmax(idle.v_bus, initial=-np.inf))
    lasting = operate(
        case, path, hardware, None, soc=np.linspace(0.0, 1.0, 41), p_load=case.p_busy, temp=ambient.typical
    )
    rest = operate(case, path, hardware, None, soc=1.0, p_load=case.design.system.standby, temp=ambient.typical)
    fine = lasting.solved & ~lasting.brown_out & ~lasting.depleted
    depleted = lasting.v_bus[fine] if fine.any() else lasting.v_bus
    return BusWindow(
        source_min=float(min(low)),
        source_max=float(max(high)),
        pack_min=float(np.nanmin(depleted)),
        pack_max=float(rest.v_bus[0]),
        allowed_min=case.bus_min,
        allowed_max=case.bus_max,
    )
