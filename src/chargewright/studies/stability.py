"""Are the loops of a path stable, over the whole envelope? Amplifiers designed once, then judged at every corner.

The controller is a general one, since none is chosen yet: voltage mode with a ramp that follows the input, a
transconductance amplifier for each loop, one volt of sensed signal at full scale. What a real controller does
differently goes into `ControllerModel`.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.loops.compensator import Designed, design, most_margin
from chargewright.loops.current_mode import Modulator, VoltageMode
from chargewright.loops.loop import Loop, LoopGain, Plant, Sensed, points_of
from chargewright.loops.margins import Margins, frequencies, margins
from chargewright.loops.open_loop import unstable_poles
from chargewright.loops.source_filter import ENOUGH, Damper, Interaction, damped, damper, interaction
from chargewright.network.hardware import Hardware
from chargewright.sizing.build import Build
from chargewright.studies._loop_envelope import Envelope, envelope
from chargewright.studies.needs import Plan
from chargewright.studies.operate import source_limit
from chargewright.studies.situation import Situation
from chargewright.studies.study import PathStudy

Floats = npt.NDArray[np.float64]
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
_PER_DECADE = 12
_F_LOW = 20.0
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
class LoopReport:
    """One loop over the envelope."""

    key: str
    title: str
    loop: Loop
    designed: Designed
    f_target: float
    """Crossover [Hz] of the design, at the corner with the most gain."""
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
    """Return the loops of a path with its parts."""
    found = envelope(case, chosen, hardware, build, controller.modulator(build.f_sw))
    limit = max(source_limit(case, s) for s in chosen.contracts.values())
    v_source = max(s.v_set.typ for s in chosen.contracts.values())
    wanted: list[tuple[str, str, Sensed, float, Plant]] = [
        ("charge-current", "charge current", "output-current", 1.0 / case.i_charge, found.charging),
        ("charge-voltage", "charge voltage", "output-voltage", 1.0 / case.v_full, found.charging),
        ("source-current", "source current", "input-current", 1.0 / limit, found.charging),
        ("source-voltage", "source voltage held up", "input-voltage", 1.0 / v_source, found.charging),
    ]
    if found.resting is not None:
        wanted.append(("bus-voltage", "bus voltage, pack at rest", "stage-voltage", 1.0 / case.v_full, found.resting))
    reports, failed = [], {}
    poles = unstable_poles(found.charging)
    for key, title, what, scale, plant in wanted:
        loop = Loop(sensed=what, scale=scale, amplifier=None, t_sense=controller.t_sense)
        try:
            n_poles = poles if plant is found.charging else unstable_poles(plant)
            reports.append(_loop(key, title, plant, loop, found, build.f_sw, controller.gm, n_poles))
        except OutOfRange as error:
            failed[title] = str(error)
    if not reports:
        raise NoSolution(f"{chosen.path.title}: no amplifier was found for any loop. " + "; ".join(failed.values()))
    gain = LoopGain(found.charging, reports[0].loop)
    n = len(found.words)
    return Stability(
        path=chosen.path.key,
        corners=found.words,
        left_out=found.left_out,
        loops=tuple(reports),
        not_designed=failed,
        filter=_filter(found, reports[0], build.f_sw),
        duty=np.broadcast_to(gain.duty, (n, 1))[:, 0],
        discontinuous=np.broadcast_to(gain.discontinuous, (n, 1))[:, 0],
    )


def _loop(
    key: str,
    title: str,
    plant: Plant,
    bare: Loop,
    found: Envelope,
    f_sw: float,
    gm: float,
    poles: npt.NDArray[np.int64],
) -> LoopReport:
    """Design at the highest crossover at which every corner keeps its margins; else report the best of the tries."""
    n = len(found.words)
    f = frequencies(_F_LOW, 0.5 * f_sw, _PER_DECADE)
    of_plant = LoopGain(plant, bare)
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
            loop = Loop(sensed=bare.sensed, scale=bare.scale, amplifier=made.built, t_sense=bare.t_sense)
            m = margins(LoopGain(plant, loop), n, f, unstable_poles=poles)
            score = _score(m)
            tried.append((float(np.min(score)), f_target, made, loop, m, int(np.argmin(score))))
            if np.min(score) >= 1.0:
                break
        f_target *= _LOWER
    if not tried:
        raise OutOfRange(f"{title}: {why}")
    best, f_target, made, loop, m, worst = max(tried, key=lambda one: one[0])
    return LoopReport(
        key=key,
        title=title,
        loop=loop,
        designed=made,
        f_target=f_target,
        margins=m,
        worst=worst,
        worst_corner=found.words[worst],
        phase_margin=float(np.min(m.phase)),
        gain_margin=float(np.min(m.gain)),
        modulus_margin=float(np.min(m.modulus)),
        passes=best >= 1.0,
        nominal=_bode(plant, loop, n - 1, f_sw),
        at_worst=_bode(plant, loop, worst, f_sw),
    )


def _score(m: Margins) -> Floats:
    """Return how well each point keeps the rules [1]: 1 just does, below 0 is unstable."""
    with np.errstate(divide="ignore"):
        up = np.log(m.gain) / np.log(GAIN_MARGIN)
        down = np.where(m.gain_down > 0.0, -np.log(np.maximum(m.gain_down, 1e-300)) / np.log(GAIN_MARGIN), np.inf)
    score = np.minimum(np.minimum(m.phase / PHASE_MARGIN, up), down)
    return np.asarray(np.where(m.stable, score, -1.0))


def _bode(plant: Plant, loop: Loop, point: int, f_sw: float) -> Bode:
    f = frequencies(_F_LOW, 0.5 * f_sw, 50)
    t = np.ravel(LoopGain(points_of(plant, slice(point, point + 1)), loop)(f))
    return Bode(f=f, size=np.abs(t), phase=np.unwrap(np.angle(t)))


def _filter(found: Envelope, report: LoopReport, f_sw: float) -> FilterReport:
    f = frequencies(100.0, 0.5 * f_sw, 30)
    at = interaction(found.charging, report.loop, f)
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
    plant = found.charging
    c = float(np.ravel(points_of(plant, slice(worst, worst + 1)).input.c)[0])
    k = int(np.argmax(np.abs(at.z_filter[worst] / at.z_closed[worst])))
    z_stage = float(np.abs(at.z_closed[worst, k]))
    for _ in range(_TRIES):
        advice = damper(float(found.l_cable[worst]), c, z_stage)
        if advice.c > _LARGEST * c:
            break
        after = interaction(replace(plant, input=damped(plant.input, advice)), loop, f)
        if np.min(after.distance) >= DISTANCE:
            return advice, after
        z_stage *= _LOWER  # the damper moves the peak to where the stage shows less
    return None, at
