"""Run the transients of a path: all of the shelf, or some."""

from collections.abc import Callable
from dataclasses import replace

from chargewright.base.errors import NoSolution, OutOfRange
from chargewright.parts.rail_inputs import rail_inputs
from chargewright.studies.situation import Situation
from chargewright.studies.stability import ControllerModel, Stability
from chargewright.studies.study import PathStudy
from chargewright.studies.transients import shelf
from chargewright.studies.transients.judge import bounds_of, cause_of, limits_of, measures_of, verdict_of
from chargewright.studies.transients.phases import averaged_is_kept, tell
from chargewright.studies.transients.product import Product, TransientSettings
from chargewright.studies.transients.record import Engine, LeftOut, Transient, TransientReport, Transients

Progress = Callable[[str, float], None]
ORDER = ("handover", "source-limit", "supplement", "load-step", "unplug", "plug-in", "contract", "pack-start")
"""The order in which they are told; what else is on the shelf follows."""
NOT_COMPILED = (
    "a study has time for it only where 'chargewright prepare' has compiled the averaged circuit; "
    "'chargewright transients' runs it"
)
ASSUMED = (
    "The amplifiers, delays and the ramp are those of the loops' own design; one that does not rule is held a "
    "hundredth of the ramp above the one that does, and none goes below ground.",
    "The source gives and does not take: nothing flows back through the blocking pair.",
    "Load edges take no time. Parts are at their usual values; inductance and capacitance stay as at rest.",
)


def product_of(
    case: Situation,
    study: PathStudy,
    loops: Stability,
    controller: ControllerModel | None = None,
    settings: TransientSettings | None = None,
) -> Product:
    """Return a studied path as it is put into time. Raises NoSolution for a path without parts."""
    if study.sizing is None or study.hardware is None:
        raise NoSolution(f"{study.path.title}: no parts were found, so nothing can be run in time")
    return Product(
        case=case, plan=study.plan, hardware=study.hardware, build=study.sizing.build, stability=loops,
        controller=controller or ControllerModel(), settings=settings or TransientSettings(),
    )  # fmt: skip


def in_study(product: Product) -> tuple[str, ...]:
    """Return the keys of those that a study runs: all of them where the averaged circuit is compiled, else a few.

    Not compiled, a load step on a bus that the stage has to hold takes as long as all the others of the few.
    """
    if averaged_is_kept():
        return _ordered()
    return ("unplug", "pack-start") if product.path.narrow else ("unplug", "load-step", "pack-start")


def study_transients(product: Product) -> Transients:
    """Return the transients that a study runs, and which it leaves to the command and why."""
    chosen = in_study(product)
    found = transients(product, only=chosen)
    waits = tuple(LeftOut(key=k, title=shelf.get(k).title, why=NOT_COMPILED) for k in _ordered() if k not in chosen)
    return replace(found, left_out=(*found.left_out, *waits))


def _ordered() -> tuple[str, ...]:
    return tuple(sorted(shelf.keys(), key=lambda k: (ORDER.index(k) if k in ORDER else len(ORDER), k)))


def transients(
    product: Product,
    *,
    only: tuple[str, ...] = (),
    engine: Engine = "averaged",
    progress: Progress | None = None,
) -> Transients:
    """Return the transients of a product.

    only     : keys of the shelf; all if empty. Raises ChargewrightError for one that is not known
    progress : told each transient that starts, and the share of the work that is done [1]
    """
    tell_step = progress or (lambda _step, _share: None)
    keys = only or _ordered()
    reports: list[TransientReport] = []
    left_out: list[LeftOut] = []
    for k, key in enumerate(keys):
        kind = shelf.get(key)
        tell_step(kind.title, k / len(keys))
        try:
            found = one(product, kind, engine)
        except (NoSolution, OutOfRange) as error:
            left_out.append(LeftOut(key=key, title=kind.title, why=f"it could not be run: {str(error).rstrip('.')}"))
            continue
        if isinstance(found, str):
            left_out.append(LeftOut(key=key, title=kind.title, why=found))
        else:
            reports.append(found)
    said = (*ASSUMED, rail_inputs(product.plan.rails).words)
    return Transients(path=product.path.key, reports=tuple(reports), left_out=tuple(left_out), assumptions=said)


def one(product: Product, kind: Transient, engine: Engine) -> TransientReport | str:
    """Return one transient, or why this product cannot meet it."""
    script = kind.script(product)
    if not script.phases:
        return script.why_not
    loops = tuple(r.key for r in product.stability.loops)
    story = tell(script.phases, loops, engine)
    b = bounds_of(product, product.strongest if script.supply is None else script.supply)
    measures = measures_of(script, story, b)
    events = tuple((t, words) for t, words in zip(story.begins, story.words, strict=True) if words)
    return TransientReport(
        key=kind.key,
        title=kind.title,
        what=kind.what,
        setting=script.setting,
        drawn=kind.drawn,
        loops=tuple(r.title for r in product.stability.loops),
        events=events,
        waves=story.waves,
        limits=limits_of(b, kind.drawn),
        measures=measures,
        verdict=verdict_of(measures),
        cause=cause_of(events, story.waves, measures),
        cure=kind.cure,
        engine=engine,
        assumptions=script.assumptions,
    )
