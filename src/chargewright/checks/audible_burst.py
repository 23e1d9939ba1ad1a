"""Whether the stage skips pulses at a rate that can be heard."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from chargewright.base.findings import Cure, Finding
from chargewright.base.units import show
from chargewright.checks.review import Check, Review
from chargewright.network.hardware import Hardware
from chargewright.network.solve import Solution, solve
from chargewright.studies.operate import conditions

AUDIBLE = (20.0, 20e3)
"""What people hear [Hz]."""


def judge(review: Review) -> Iterator[Finding]:
    """Yield the lowest burst rate that can be heard, over light loads with a full pack or at the end of the charge."""
    s, loads = _light(review, review.hardware)
    if s is None:
        return
    rate = s.waveform.rate
    heard = s.ok & (rate > AUDIBLE[0]) & (rate < AUDIBLE[1])
    if not heard.any():
        return
    k = int(np.argmin(np.where(heard, rate, np.inf)))
    calm = float(loads[k]) >= min(review.case.modes.values())
    yield CHECK.finding(
        "caution" if calm else "note",
        review.at(s.state.key),
        f"With {show(float(loads[k]), 'W')} of load the stage skips pulses at {show(float(rate[k]), 'Hz')}; below "
        f"{show(AUDIBLE[1], 'Hz')} that can be heard.",
        value=float(rate[k]),
        limit=AUDIBLE[1],
        unit="Hz",
        cure=_forced(review, s, k),
    )


def _light(review: Review, hardware: Hardware) -> tuple[Solution | None, np.ndarray]:
    """Solve the lightest loads: of the system on a narrow bus, of the pack beside a direct one."""
    case, path = review.case, review.path
    calm = min(case.modes.values())
    loads = np.unique([case.design.system.standby, 0.1 * calm, 0.3 * calm, calm])
    key = next(k for k in ("source-only", "charging") if any(s.key == k and s.stage == "forward" for s in path.states))
    state = next((s for s in path.states if s.key == key), None)
    if state is None:
        return None, loads
    supply = max(review.plan.contracts.values(), key=lambda c: c.v_set.typ)
    c = conditions(
        case,
        path,
        state.key,
        supply,
        soc=1.0,
        p_load=loads,
        temp=case.design.ambient.typical,
        i_pack=case.i_termination if key == "charging" else 0.0,
    )
    return solve(path, state, hardware, c), loads


def _forced(review: Review, before: Solution, k: int) -> Cure | None:
    """Try forced continuous conduction, and say what it costs."""
    stage = review.hardware.stage
    forced = replace(review.hardware, stage=replace(stage, setting=stage.setting._replace(emulate=0.0)))
    after, _ = _light(review, forced)
    if after is None or not after.ok[k] or after.waveform.rate[k] < AUDIBLE[1]:
        return None
    more = show(float(after.p_stage[k] - before.p_stage[k]), "W", 3)
    change = f"force continuous conduction at light load, for {more} more of loss there"
    return Cure(change=change, value=float(after.waveform.rate[k]), clears=True)


CHECK = Check(
    key="audible-burst",
    title="the stage keeps out of the audible band",
    why="Ceramic capacitors and the inductor turn such bursts into a whine, just when the room is quiet.",
    source="audible band 20 Hz to 20 kHz, common practice",
    judge=judge,
)
