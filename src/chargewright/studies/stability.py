"""Are the loops of a path stable, over the whole envelope? Amplifiers designed once, then judged at every corner.

The controller is a general one, since none is chosen yet: voltage mode with a ramp that follows the input, a
transconductance amplifier for each loop, one volt of sensed signal at full scale. What a real controller does
differently goes into `ControllerModel`.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.loops.compensator import Designed, design, most_margin
from chargewright.loops.current_mode import Modulator, VoltageMode
from chargewright.loops.loop import Loop, LoopGain, Plant, Sensed, points_of
from chargewright.loops.margins import Margins, frequencies, margins
from chargewright.loops.open_loop import unstable_poles
from chargewright.loops.samples import Samples
from chargewright.loops.source_filter import ENOUGH, Damper, Interaction, damped, damper, interaction
from chargewright.loops.stage import StagePoints
from chargewright.network.hardware import Hardware
from chargewright.sizing.build import Build
from chargewright.studies._loop_corners import Mode
from chargewright.studies._loop_envelope import Envelope, Where, envelope
from chargewright.studies.needs import Plan
from chargewright.studies.operate import source_limit
from chargewright.studies.situation import Situation
from chargewright.studies.study import PathStudy

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
PHASE_MARGIN = np.radians(45.0)
"""Least phase margin [rad] at any corner (common practice)."""
GAIN_MARGIN = 10.0 ** (6.0 / 20.0)
"""Least gain margin [1] at any corner: 6 dB (common practice)."""
AIM = np.radians(60.0)
"""Phase margin [rad] that an amplifier is designed for, so that tolerances leave the least one (common practice)."""
DISTANCE = 0.5
"""Least distance of Z_filter/Z_in from −1 [1]: 6 dB (common practice)."""
_LARGEST = 30.0
"""Damping capacitor over the input capacitors beyond which none is proposed [1] (common practice)."""
_LEAST_AIM = np.radians(50.0)
_SHARE, _SHARE_BUS = 1.0 / 15.0, 1.0 / 6.0
"""Highest crossover over switching frequency that is tried (common practice: a fifth to a twentieth). A bus that only
the stage holds, with loads of constant power, must be crossed above its resonance, or it is not stable at all."""
_LOWER = 0.7
_TRIES = 14
_DAMPERS = 4
_PER_DECADE, _PER_DECADE_ALONE = 12, 48
"""A bus that only the stage holds resonates with next to no damping, even growing: more samples must find it."""
_F_LOW = 20.0
_CLEARLY = 0.97
"""Score by samples from which a try is looked at closely [1]."""
ASSUMED = (
    "A general controller is assumed: voltage mode with a ramp that follows the input voltage, a delay of 50 ns and "
    "half a period, an amplifier of 100 uS for each loop, one volt of sensed signal at full scale.",
    "The stage runs with diode emulation: at small current its conduction is discontinuous; pulses left out at light "
    "load are not modelled.",
    "The pack is its voltage at rest behind R0 and one RC pair; every load on the bus takes constant power at all "
    "frequencies, which is the worst case: real regulators do so only below their own crossover.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerModel:
    """What is taken of the controller."""

    gm: float = 1e-4
    """Transconductance of the amplifiers [A/V]."""
    t_comparator: float = 50e-9
    """Comparator and driver [s]."""
    pwm_share: float = 0.5
    """Delay of the modulator over the period [1]: 0.5 for a duty that is sampled once a period, 0 for a plain ramp."""
    t_sense: float = 1e-7
    """Time constant of the sense filters [s]."""
    ramp_share: float = 0.05
    """Ramp over input voltage [1]."""

    def modulator(self, f_sw: float) -> Modulator:
        """Return the modulator at a switching frequency [Hz]."""
        late = self.t_comparator + self.pwm_share / f_sw
        return VoltageMode(v_ramp=self.ramp_share, by_input=True, t_delay=late)


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
    assumptions: tuple[str, ...] = field(default=ASSUMED)

    @property
    def passes(self) -> bool:
        """Whether every loop keeps its margins and the filter its distance."""
        return all(r.passes for r in self.loops) and not self.not_designed and self.filter.passes


def stability(case: Situation, study: PathStudy, controller: ControllerModel | None = None) -> Stability:
    """Return the loops of a studied path. Raises NoSolution for a path without parts."""
    if study.sizing is None or study.hardware is None:
        raise NoSolution(f"{study.path.title}: no parts were found, so there is no loop to judge")
    return loops_of(case, study.plan, study.hardware, study.sizing.build, controller or ControllerModel())


def loops_of(case: Situation, chosen: Plan, hardware: Hardware, build: Build, controller: ControllerModel) -> Stability:
    """Return the loops of a path with its parts, the stage running both ways where it does."""

    def modulate(_points: StagePoints) -> Modulator:
        return controller.modulator(build.f_sw)

    modes: tuple[Mode, ...] = ("charging", "resting", "helping", "boosting")
    found = {mode: envelope(mode, case, chosen, hardware, build, modulate) for mode in modes}
    charging = found["charging"]
    if charging is None:
        raise NoSolution(f"{chosen.path.title}: the stage reaches no operating point, so no loop can be judged")
    reports: list[LoopReport] = []
    failed: dict[str, str] = {}
    for mode, at in found.items():
        if at is None:
            continue
        poles = unstable_poles(at.plant)
        alone = at.plant.output.branch is None
        f = frequencies(_F_LOW, 0.5 * build.f_sw, _PER_DECADE_ALONE if alone else _PER_DECADE)
        for key, title, what, scale in _wanted(mode, case, chosen, at):
            loop = Loop(sensed=what, scale=scale, amplifier=None, t_sense=controller.t_sense)
            try:
                reports.append(_loop(key, title, loop, at, f, build.f_sw, controller.gm, poles))
            except OutOfRange as error:
                failed[title] = str(error)
    if not any(r.mode == "charging" for r in reports):
        raise NoSolution(f"{chosen.path.title}: no amplifier was found for any loop. " + "; ".join(failed.values()))
    gain = LoopGain(charging.plant, reports[0].loop)
    n = len(charging.words)
    return Stability(
        path=chosen.path.key,
        corners=charging.words,
        left_out=charging.left_out,
        loops=tuple(reports),
        not_designed=failed,
        filter=_filter(charging, reports[0], build.f_sw),
        duty=np.broadcast_to(gain.duty, (n, 1))[:, 0],
        discontinuous=np.broadcast_to(gain.discontinuous, (n, 1))[:, 0],
    )


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
    found: Envelope,
    f: Floats,
    f_sw: float,
    gm: float,
    poles: npt.NDArray[np.int64],
) -> LoopReport:
    plant = found.plant
    best = _search(title, bare, plant, len(found.words), f, f_sw, gm, poles)
    m, worst = best.margins, best.worst
    alone = plant.output.branch is None
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
        passes=best.exact >= 1.0,
        nominal=_bode(plant, best.loop, len(found.words) - 1, f_sw),
        at_worst=_bode(plant, best.loop, worst, f_sw),
        band=_band(f, best.swept),
        stiffened=_stiffened(title, bare, found, f, f_sw, gm) if alone and best.exact < 1.0 else None,
    )


def _stiffened(title: str, bare: Loop, found: Envelope, f: Floats, f_sw: float, gm: float) -> Stiffened | None:
    """Return the least damper of a few with which a bus that only the stage holds keeps its margins.

    Coil and bus capacitors are a filter for loads of constant power, as a cable and input capacitors are for the stage:
    it is damped until its own impedance stays below the least negative resistance of the loads.
    """
    plant = found.plant
    c = float(np.min(plant.output.c))
    stiffest = float(np.max(plant.points.inductance))
    z_load = 1.0 / float(np.max(-np.asarray(plant.output.g_load)))
    for _ in range(_DAMPERS):
        advice = damper(stiffest, c, z_load)
        if advice.c > _LARGEST * c:
            break
        with_it = replace(plant, output=damped(plant.output, advice))
        try:
            best = _search(title, bare, with_it, len(found.words), f, f_sw, gm, unstable_poles(with_it))
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
                worst_corner=found.words[best.worst],
            )
        z_load *= _LOWER
    return None


def _search(
    title: str, bare: Loop, plant: Plant, n: int, f: Floats, f_sw: float, gm: float, poles: npt.NDArray[np.int64]
) -> "_Try":
    """Return the highest crossover at which every corner keeps its margins; else the best of the tries."""
    of_plant = LoopGain(plant, bare)
    swept = np.broadcast_to(of_plant(f), (n, len(f)))
    f_target, tried, why = (_SHARE if plant.output.branch is not None else _SHARE_BUS) * f_sw, [], ""
    for _ in range(_TRIES):
        there = np.ravel(of_plant(np.array([f_target])))
        # Above its resonances a plant lags by up to three quarters of a turn: beyond a quarter's lead it is lag.
        lag = np.where(np.angle(there) > 0.5 * np.pi, np.angle(there) - 2.0 * np.pi, np.angle(there))
        most, least = float(np.max(np.abs(there))), float(np.min(lag))
        try:
            made = design(most, least, f_target, min(AIM, max(most_margin(least), _LEAST_AIM)), gm=gm)
        except OutOfRange as error:
            why = str(error)
        else:
            tried.append(_Try(bare, made, plant, f, swept, poles, f_target))
            if tried[-1].score >= _CLEARLY and tried[-1].exact >= 1.0:
                return tried[-1]
        f_target *= _LOWER
    if not tried:
        raise OutOfRange(f"{title}: {why}")
    return max(tried, key=lambda one: one.score)


class _Try:
    """One amplifier: first judged by the samples of a sweep, then, if it seems good, by the gain itself."""

    def __init__(
        self, bare: Loop, made: Designed, plant: Plant, f: Floats, swept: Complexes, poles: Any, f_target: float
    ) -> None:
        self.made, self.f_target = made, f_target
        self.loop = replace(bare, amplifier=made.built)
        self.swept = swept * made.built.gain(2j * np.pi * f)
        self._plant, self._f, self._poles = plant, f, poles
        self._n = len(swept)
        self._margins: Margins | None = None
        self.score = float(np.min(_score(margins(Samples(f, self.swept), self._n, f, unstable_poles=poles))))

    @property
    def margins(self) -> Margins:
        """Margins at every point, crossings found on the gain itself."""
        if self._margins is None:
            gain = Samples(self._f, self.swept, LoopGain(self._plant, self.loop))
            self._margins = margins(gain, self._n, self._f, unstable_poles=self._poles)
        return self._margins

    @property
    def worst(self) -> int:
        """The point with the least score."""
        return int(np.argmin(_score(self.margins)))

    @property
    def exact(self) -> float:
        """Least score over all points, by the gain itself."""
        return float(np.min(_score(self.margins)))

    @property
    def passes(self) -> bool:
        """Whether it was looked at closely and keeps the rules."""
        return self._margins is not None and self.exact >= 1.0


def _score(m: Margins) -> Floats:
    """Return how well each point keeps the rules [1]: 1 just does, below 0 is unstable."""
    with np.errstate(divide="ignore"):
        up = np.log(m.gain) / np.log(GAIN_MARGIN)
        down = np.where(m.gain_down > 0.0, -np.log(np.maximum(m.gain_down, 1e-300)) / np.log(GAIN_MARGIN), np.inf)
    score = np.minimum(np.minimum(m.phase / PHASE_MARGIN, up), down)
    return np.asarray(np.where(m.stable, score, -1.0))


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
    for _ in range(_TRIES):
        advice = damper(float(found.l_input[worst]), c, z_stage)
        if advice.c > _LARGEST * c:
            break
        after = interaction(replace(plant, input=damped(plant.input, advice)), loop, f)
        if np.min(after.distance) >= DISTANCE:
            return advice, after
        z_stage *= _LOWER  # the damper moves the peak to where the stage shows less
    return None, at
