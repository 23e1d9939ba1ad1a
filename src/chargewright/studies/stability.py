"""Are the loops of a path stable, over the whole envelope? Amplifiers designed once, then judged at every corner.

Four modes: the stage charges; it holds a bus from which the pack is parted; the pack helps the source; the pack alone
feeds, through the stage. In the last two a direct path runs its stage backwards, as a boost. The controller is a
general one (`studies.loop_control`), since none is chosen yet.
"""

from dataclasses import dataclass, replace
from math import inf
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.loops.compensator import Designed, Kind, Transconductance
from chargewright.loops.current_mode import sampling
from chargewright.loops.loop import Loop, LoopGain, Plant, PlantSweep, Sensed, points_of
from chargewright.loops.margins import Margins, frequencies
from chargewright.loops.open_loop import unstable_poles
from chargewright.loops.source_filter import ENOUGH, Damper, Interaction, damped, damper, interaction
from chargewright.loops.stage import operating
from chargewright.network.hardware import Hardware
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.sizing.build import Build
from chargewright.studies._loop_corners import MODES, Mode
from chargewright.studies._loop_envelope import Envelope, Where, envelope
from chargewright.studies._loop_search import AIM, GAIN_MARGIN, LOWER, PHASE_MARGIN, TRIES, Search
from chargewright.studies.loop_control import ControllerModel
from chargewright.studies.needs import Plan
from chargewright.studies.operate import source_limit
from chargewright.studies.situation import Situation
from chargewright.studies.study import PathStudy

__all__ = ["AIM", "GAIN_MARGIN", "PHASE_MARGIN", "ControllerModel", "Mode", "Where"]
Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
DISTANCE = 0.5
"""Least distance of Z_filter/Z_in from −1 [1]: 6 dB (common practice)."""
_LARGEST = 30.0
"""Damping capacitor over the input capacitors beyond which none is proposed [1] (common practice)."""
_SHARE, _SHARE_BUS = 1.0 / 15.0, 1.0 / 6.0
"""Highest crossover over switching frequency that is tried (common practice: a fifth to a twentieth). A bus that only
the stage holds, with loads of constant power, must be crossed above its resonance, or it is not stable at all."""
_SHARE_INNER = 1.0 / 8.0
"""The same for the inner loop of average current mode (common practice)."""
_DAMPERS = 4
_PER_DECADE, _PER_DECADE_ALONE = 12, 48
"""A bus that only the stage holds resonates with next to no damping, even growing: more samples must find it."""
_F_LOW = 20.0
MODELLED = (
    "The stage is averaged, with edges and pulses at their place in the period: up to a third of the switching "
    "frequency this meets responses measured on the switched circuit within 0.5 dB and 3 degrees, in both conduction "
    "modes; no crossover is set above a sixth of it.",
    "Voltages, currents and temperatures of every point are those of the power-flow solver; capacitors have what their "
    "bias leaves, at both ends of tolerance; their series resistance is that of the part at the switching frequency, "
    "hot and cold alike, which suits ceramics; an electrolytic's rises in the cold.",
    "The stage runs with diode emulation: at small current its conduction is discontinuous; pulses left out at light "
    "load are not modelled. A four-switch stage near unity gain keeps the output leg's least pulse and moves the input "
    "leg.",
    "The pack is its voltage at rest behind R0 and one RC pair; every load on the bus takes constant power at all "
    "frequencies, which is the worst case: real regulators do so only below their own crossover.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bode:
    """One loop gain for a chart: frequency [Hz], size [1], unwrapped phase [rad]."""

    f: Floats
    size: Floats
    phase: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Least and greatest loop gain of all points at each frequency: size [1] and unwrapped phase [rad], (f,)."""

    f: Floats
    size: tuple[Floats, Floats]
    phase: tuple[Floats, Floats]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stiffened:
    """A bus with a damping capacitor beside its own, and the loop that this makes possible."""

    damper: Damper
    designed: Designed
    f_target: float
    phase_margin: float
    """Least over the envelope, in radians [1]."""
    gain_margin: float
    modulus_margin: float
    worst_corner: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopReport:
    """One loop over the envelope."""

    key: str
    title: str
    loop: Loop
    designed: Designed
    f_target: float
    """Crossover [Hz] of the design, at the corner with the most gain."""
    corners: tuple[str, ...]
    """Each point of its envelope in words."""
    where: Where
    """The same in numbers."""
    mode: Mode
    reverse: bool
    """Whether the stage runs from the pack to the bus."""
    left_out: int
    """Points of its envelope that the stage does not reach."""
    margins: Margins
    """At each point of the envelope; the last is the usual one."""
    worst: int
    worst_corner: str
    phase_margin: float
    """Least over the envelope, in radians [1]."""
    gain_margin: float
    """Least over the envelope [1]."""
    modulus_margin: float
    passes: bool
    nominal: Bode
    at_worst: Bode
    band: Band
    """Between which sizes and phases the loop lies over the whole envelope."""
    stiffened: Stiffened | None = None
    """For a bus that only the stage holds: what beside its capacitors would give the loop its margins."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterReport:
    """Cable and input capacitors against the stage."""

    loop: str
    """Title of the loop that is at work."""
    ratio: Floats
    """Filter's impedance over the least of the stage's three at its worst frequency, at each point [1]."""
    distance: Floats
    """Least distance of Z_filter/Z_in from −1 at each point [1]: at 0 the two oscillate."""
    worst: int
    """Where that distance is least."""
    worst_corner: str
    f_worst: float
    """Where in frequency the ratio is greatest there [Hz]."""
    apart: bool
    """Whether the filter stays 6 dB below all three everywhere: then it changes no loop (Middlebrook's criterion)."""
    passes: bool
    """Whether it is apart, or at least keeps its distance from −1 everywhere. The loops' margins include it anyway."""
    damper: Damper | None
    """What would bring it there; None where nothing is needed or no damper of a sensible size does."""
    ratio_damped: float
    """The greatest ratio with that damper [1]."""
    distance_damped: float
    """The least distance with that damper [1]: the damper is found when this is `DISTANCE`."""
    f: Floats
    z_filter: Floats
    z_stage: Floats
    """Sizes at the worst corner [Ω], the stage's with its loop closed, for a chart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Subharmonic:
    """Where the current loop of peak current mode comes nearest to oscillating at half the switching frequency."""

    share: float
    """Slope share there [1]: below one half it oscillates."""
    corner: str

    @property
    def stable(self) -> bool:
        """Whether it never oscillates."""
        return self.share > 0.5

    @property
    def quality(self) -> float:
        """Quality factor of the double pole [1]: above 1 it rings (common practice), negative where it oscillates."""
        return 1.0 / (np.pi * (self.share - 0.5)) if self.share != 0.5 else inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Stability:
    """The loops of one path."""

    path: str
    corners: tuple[str, ...]
    left_out: int
    loops: tuple[LoopReport, ...]
    not_designed: dict[str, str]
    """Loops for which no amplifier was found, with the reason."""
    filter: FilterReport
    duty: Floats
    discontinuous: npt.NDArray[np.bool_]
    assumptions: tuple[str, ...]
    subharmonic: Subharmonic | None = None
    """For peak current mode: how far from oscillating at half the switching frequency."""

    @property
    def passes(self) -> bool:
        """Whether every loop keeps its margins and the filter its distance."""
        return all(r.passes for r in self.loops) and not self.not_designed and self.filter.passes


def stability(case: Situation, study: PathStudy, controller: ControllerModel | None = None) -> Stability:
    """Return the loops of a studied path. Raises NoSolution for a path without parts."""
    if study.sizing is None or study.hardware is None:
        raise NoSolution(f"{study.path.title}: no parts were found, so there is no loop to judge")
    return loops_of(case, study.plan, study.hardware, study.sizing.build, controller or ControllerModel())


def loops_if_any(case: Situation, chosen: Plan, hardware: Hardware, build: Build) -> Stability | None:
    """Return the loops of a path; None where the stage reaches no point at which one could be judged."""
    try:
        return loops_of(case, chosen, hardware, build, ControllerModel())
    except NoSolution:
        return None


def loops_of(case: Situation, chosen: Plan, hardware: Hardware, build: Build, controller: ControllerModel) -> Stability:
    """Return the loops of a path with its parts, the stage running both ways where it does."""
    reports: list[LoopReport] = []
    failed: dict[str, str] = {}
    oscillates: list[Subharmonic] = []
    charging: Envelope | None = None
    for mode in MODES:
        at = envelope(mode, case, chosen, hardware, build, controller.modulator(build.f_sw))
        if at is None:
            continue
        f = frequencies(_F_LOW, 0.5 * build.f_sw, _PER_DECADE_ALONE if at.plant.output.branch is None else _PER_DECADE)
        job = _Job(at=at, f=f, f_sw=build.f_sw, gm=controller.gm)
        if controller.control == "average-current":
            title = f"coil current, {MODES[mode]}"
            try:
                job, inner = _with_inner(title, job, controller, build)
            except OutOfRange as error:
                failed[title] = str(error)
                continue
            reports.append(inner)
        if controller.control == "peak-current":
            job, nearest = _with_peak(job, controller, build)
            oscillates += [] if nearest is None else [nearest]
        charging = job.at if mode == "charging" else charging
        poles, sweep = unstable_poles(job.at.plant), PlantSweep.of(job.at.plant, f)
        for key, title, what, scale in _wanted(mode, case, chosen, job.at):
            bare = Loop(sensed=what, scale=scale, amplifier=None, t_sense=controller.t_sense)
            try:
                reports.append(_loop(key, title, bare, job, poles, sweep))
            except OutOfRange as error:
                failed[title] = str(error)
    own = [r for r in reports if r.mode == "charging" and not r.key.startswith("inner-")]
    if charging is None:
        raise NoSolution(f"{chosen.path.title}: the stage reaches no operating point, so no loop can be judged")
    if not own:
        raise NoSolution(f"{chosen.path.title}: no amplifier was found for any loop. " + "; ".join(failed.values()))
    gain = LoopGain(charging.plant, own[0].loop)
    n = len(charging.words)
    return Stability(
        path=chosen.path.key,
        corners=charging.words,
        left_out=charging.left_out,
        loops=tuple(reports),
        not_designed=failed,
        filter=_filter(charging, own[0], build.f_sw),
        duty=np.broadcast_to(gain.duty, (n, 1))[:, 0],
        discontinuous=np.broadcast_to(gain.discontinuous, (n, 1))[:, 0],
        assumptions=(controller.words, *MODELLED, rail_inputs(chosen.rails).words),
        subharmonic=min(oscillates, key=lambda one: one.share, default=None),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Job:
    """One envelope whose loops are to be designed."""

    at: Envelope
    f: Floats
    f_sw: float
    gm: float
    sound: npt.NDArray[np.bool_] | bool = True
    """Where the inner loop is stable."""

    def search(self, bare: Loop, plant: Plant, poles: Any, sweep: PlantSweep) -> Search:
        return Search(bare, plant, len(self.at.words), self.f, poles, sweep, self.sound)


def _with_inner(title: str, job: _Job, controller: ControllerModel, build: Build) -> tuple[_Job, LoopReport]:
    """Return the job with an inner loop around the coil current, and that loop."""
    bare = Loop(sensed="coil-current", scale=controller.v_sense / build.coil.i_sat, amplifier=None)
    key = f"inner-{job.at.mode}"
    report = _loop(
        key, title, bare, job, unstable_poles(job.at.plant), PlantSweep.of(job.at.plant, job.f), _SHARE_INNER, "type 2"
    )
    built = report.designed.built
    assert isinstance(built, Transconductance), "a type 2 with a transconductance is one"
    plant = replace(job.at.plant, modulator=controller.average_modulator(built, build.f_sw, build.coil.i_sat))
    return replace(job, at=replace(job.at, plant=plant), sound=report.margins.stable), report


def _with_peak(job: _Job, controller: ControllerModel, build: Build) -> tuple[_Job, Subharmonic | None]:
    """Return the job with peak current mode, and where that comes nearest to oscillating by itself."""
    points = job.at.plant.points
    modulator = controller.peak_modulator(points, build.coil.i_sat)
    share = np.broadcast_to(sampling(modulator, points, operating(points)), (len(job.at.words), 1))[:, 0]
    plant = replace(job.at.plant, modulator=modulator)
    samples = np.isfinite(share)
    made = replace(job, at=replace(job.at, plant=plant), sound=~samples | (share > 0.5))
    if not np.any(samples):
        return made, None
    k = int(np.nanargmin(share))
    return made, Subharmonic(share=float(share[k]), corner=job.at.words[k])


def _wanted(mode: Mode, case: Situation, chosen: Plan, at: Envelope) -> list[tuple[str, str, Sensed, float]]:
    """Return key, title, sensed quantity and scale of the loops of a mode."""
    limit = max(source_limit(case, s) for s in chosen.contracts.values())
    v_source = max(s.v_set.typ for s in chosen.contracts.values())
    if mode == "charging":
        return [
            ("charge-current", "charge current", "output-current", 1.0 / case.i_charge),
            ("charge-voltage", "charge voltage", "output-voltage", 1.0 / case.v_full),
            ("source-current", "source current", "input-current", 1.0 / limit),
            ("source-voltage", "source voltage held up", "input-voltage", 1.0 / v_source),
        ]
    if mode == "resting":
        return [("bus-voltage", "bus voltage, pack at rest", "stage-voltage", 1.0 / case.v_full)]
    if mode == "helping":
        # A stage that runs backwards takes load off the source: what it pushes into the source's branch is counted.
        what: Sensed = "output-current" if at.reverse else "input-current"
        return [("helped-source", "source current, pack helping", what, 1.0 / limit)]
    highest = float(np.max(at.where.v_out))
    return [("boosted-bus", "bus voltage, pack alone", "stage-voltage", 1.0 / highest)]


def _loop(
    key: str,
    title: str,
    bare: Loop,
    job: _Job,
    poles: Any,
    sweep: PlantSweep,
    share: float | None = None,
    kind: Kind | None = None,
) -> LoopReport:
    """Return a loop with its amplifier. share : of the switching frequency that is tried first; None by the plant."""
    found, plant = job.at, job.at.plant
    alone = plant.output.branch is None
    first = (share or (_SHARE_BUS if alone else _SHARE)) * job.f_sw
    best = job.search(bare, plant, poles, sweep).best(first, job.gm, kind, alone=alone and share is None)
    m, worst = best.margins, best.worst
    return LoopReport(
        key=key,
        title=title,
        loop=best.loop,
        designed=best.made,
        f_target=best.f_target,
        corners=found.words,
        where=found.where,
        mode=found.mode,
        reverse=found.reverse,
        left_out=found.left_out,
        margins=m,
        worst=worst,
        worst_corner=found.words[worst],
        phase_margin=float(np.min(m.phase)),
        gain_margin=float(np.min(m.gain)),
        modulus_margin=float(np.min(m.modulus)),
        passes=best.passes,
        nominal=_bode(plant, best.loop, len(found.words) - 1, job.f_sw),
        at_worst=_bode(plant, best.loop, worst, job.f_sw),
        band=_band(job.f, best.swept),
        stiffened=_stiffened(bare, job, first) if alone and share is None and not best.passes else None,
    )


def _stiffened(bare: Loop, job: _Job, first: float) -> Stiffened | None:
    """Return the least damper of a few with which a bus that only the stage holds keeps its margins.

    Coil and bus capacitors are a filter for loads of constant power, as a cable and input capacitors are for the stage:
    it is damped until its own impedance stays below the least negative resistance of the loads.
    """
    plant = job.at.plant
    c = float(np.min(plant.output.c))
    stiffest = float(np.max(plant.points.inductance))
    z_load = 1.0 / float(np.max(-np.asarray(plant.output.g_load)))
    for _ in range(_DAMPERS):
        advice = damper(stiffest, c, z_load)
        if advice.c > _LARGEST * c:
            break
        with_it = replace(plant, output=damped(plant.output, advice))
        try:
            sweep = PlantSweep.of(with_it, job.f)
            best = job.search(bare, with_it, unstable_poles(with_it), sweep).best(first, job.gm, alone=True)
        except OutOfRange:
            best = None
        if best is not None and best.passes:
            m = best.margins
            return Stiffened(
                damper=advice,
                designed=best.made,
                f_target=best.f_target,
                phase_margin=float(np.min(m.phase)),
                gain_margin=float(np.min(m.gain)),
                modulus_margin=float(np.min(m.modulus)),
                worst_corner=job.at.words[best.worst],
            )
        z_load *= LOWER
    return None


def _band(f: Floats, swept: Complexes) -> Band:
    size, phase = np.abs(swept), np.unwrap(np.angle(swept), axis=1)
    # Each point starts within half a turn of the last one, the usual one.
    phase = phase - 2.0 * np.pi * np.rint((phase[:, :1] - phase[-1:, :1]) / (2.0 * np.pi))
    return Band(
        f=f,
        size=(np.min(size, axis=0), np.max(size, axis=0)),
        phase=(np.min(phase, axis=0), np.max(phase, axis=0)),
    )


def _bode(plant: Plant, loop: Loop, point: int, f_sw: float) -> Bode:
    f = frequencies(_F_LOW, 0.5 * f_sw, 50)
    t = np.ravel(LoopGain(points_of(plant, slice(point, point + 1)), loop)(f))
    return Bode(f=f, size=np.abs(t), phase=np.unwrap(np.angle(t)))


def _filter(found: Envelope, report: LoopReport, f_sw: float) -> FilterReport:
    f = frequencies(100.0, 0.5 * f_sw, 30)
    at = interaction(found.plant, report.loop, f)
    distance = at.distance
    worst = int(np.argmin(distance))
    apart = bool(np.max(at.ratio) <= ENOUGH)
    passes = apart or bool(distance[worst] >= DISTANCE)
    advice, after = (None, at) if passes else _damper(found, report.loop, f, at, worst)
    return FilterReport(
        loop=report.title,
        ratio=at.ratio,
        distance=distance,
        worst=worst,
        worst_corner=found.words[worst],
        f_worst=float(at.f_worst[worst]),
        apart=apart,
        passes=passes,
        damper=advice,
        ratio_damped=float(np.max(after.ratio)),
        distance_damped=float(np.min(after.distance)),
        f=f,
        z_filter=np.abs(at.z_filter[worst]),
        z_stage=np.abs(at.z_closed[worst]),
    )


def _damper(found: Envelope, loop: Loop, f: Floats, at: Interaction, worst: int) -> tuple[Damper | None, Interaction]:
    """Return the least damper of a few with which the filter keeps its distance everywhere, and what it does."""
    plant = found.plant
    c = float(np.ravel(points_of(plant, slice(worst, worst + 1)).input.c)[0])
    k = int(np.argmax(np.abs(at.z_filter[worst] / at.z_closed[worst])))
    z_stage = float(np.abs(at.z_closed[worst, k]))
    for _ in range(TRIES):
        advice = damper(float(found.l_input[worst]), c, z_stage)
        if advice.c > _LARGEST * c:
            break
        after = interaction(replace(plant, input=damped(plant.input, advice)), loop, f)
        if np.min(after.distance) >= DISTANCE:
            return advice, after
        z_stage *= LOWER  # the damper moves the peak to where the stage shows less
    return None, at
