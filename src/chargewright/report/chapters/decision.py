"""Which power path, by how much, why, and what would change it."""

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.report.blocks import (
    Block,
    Bullets,
    Chapter,
    Heading,
    KeyNumber,
    KeyNumbers,
    Paragraph,
    Pictures,
    Tone,
    Unfold,
    Verdict,
)
from chargewright.report.data.paths import paths_table, requirements_table, tipping_table
from chargewright.report.figures.decision_map import decision_map_picture
from chargewright.report.figures.scores import scores_picture
from chargewright.report.headline import score_derivation
from chargewright.report.tables import DataTable, table_block
from chargewright.studies.decision_map import profile
from chargewright.studies.study import PathStudy, Study
from chargewright.studies.verdict import MEASURES
from chargewright.studies.words import because, tipping_words, verdict_sentence, why_out


def chapter(dossier: Dossier) -> Chapter:
    """Return the chapter."""
    study = dossier.study
    tone: Tone = "bad" if study.winner is None else "plain"
    blocks: list[Block] = [Verdict(text=verdict_sentence(study), tone=tone)]
    if study.winner is not None:
        blocks += _winner(dossier, study.winner)
    if study.ranking.order:
        blocks += [_ranking(study), Paragraph(text=_how_scored(), tone="quiet")]
    pictures = [scores_picture(study)] if len(study.ranking.order) > 1 else []
    if study.map is not None and len(study.map.paths) > 1:
        pictures.append(decision_map_picture(study.map, study.case))
    if pictures:
        blocks += [Heading(text="Where it wins, and where it would not"), Pictures(items=tuple(pictures))]
        blocks.append(Paragraph(text=_place_words(study), tone="quiet"))
    if len(study.ranking.order) > 1:
        blocks += [Heading(text="What would change the verdict"), Bullets(items=tipping_words(study))]
        blocks.append(
            Unfold(title="Every weight and where the lead changes", blocks=(table_block(tipping_table(study)),))
        )
    blocks += _out(study)
    if any(p.requirements for p in study.paths):
        title = "Every requirement of every path, with its number"
        blocks.append(Unfold(title=title, blocks=(_requirements(study),), in_print=False))
    return Chapter(key="decision", title="Decision", question="Which power path?", blocks=tuple(blocks))


def _winner(dossier: Dossier, winner: PathStudy) -> list[Block]:
    study = dossier.study
    measures = winner.measures or {}
    ranked = study.ranking.order[0]
    items = [
        KeyNumber(
            label="score",
            shown=f"{100.0 * ranked.total:.1f} of 100",
            note=f"wins under {show(ranked.wins, '1', 2)} of all weightings tried",
            derivation=score_derivation(study, ranked),
        )
    ]
    for name in ("energy", "run_time", "charge_time", "heat"):
        title, unit = MEASURES[name]
        items.append(KeyNumber(label=title, shown=show(measures[name], unit, 3), note=_against(study, name)))
    if winner.window is not None:
        w = winner.window
        low, high = min(w.source_min, w.pack_min), max(w.source_max, w.pack_max)
        items.append(
            KeyNumber(
                label="bus window",
                shown=f"{low:.3g} … {show(high, 'V', 3)}",
                note=f"rails allow {show(w.allowed_min, 'V', 3)} to {show(w.allowed_max, 'V', 3)}",
            )
        )
    bad = [f for f in dossier.findings if f.severity in ("stop", "serious")]
    items.append(
        KeyNumber(
            label="findings to act on",
            shown=str(len(bad)),
            note=f"of {len(dossier.findings)}; the worst is '{dossier.findings[0].severity}'"
            if dossier.findings
            else "",
            tone="bad" if any(f.severity == "stop" for f in bad) else "thin" if bad else "good",
        )
    )
    found: list[Block] = [KeyNumbers(items=tuple(items)), Paragraph(text=winner.path.idea)]
    reasons = because(study)
    if reasons:
        second = study.path(study.ranking.order[1].key).path.title
        found += [Paragraph(text=f"Against the next, {second[0].lower()}{second[1:]}:"), Bullets(items=reasons)]
    weak = [r for r in winner.requirements if not r.met]
    if weak:
        found.append(Paragraph(text="What the winner should do and does not:", tone="thin"))
        found.append(Bullets(items=tuple(f"{_capital(r.title)}: no. {r.reason}" for r in weak)))
    return found


def _against(study: Study, name: str) -> str:
    """Return how the winner's measure compares with the second's."""
    if len(study.ranking.order) < 2:
        return ""
    key = study.ranking.order[1].key
    own, other = (study.paths[0].measures or {})[name], (study.path(key).measures or {})[name]
    if not 0.0 < other < float("inf") or not 0.0 < own < float("inf"):
        return ""
    change = own / other - 1.0
    shown = f"{100.0 * change:+.1f} %".replace("-", "−")
    return f"as {key}" if abs(change) < 0.0005 else f"{shown} against {key}"


def _ranking(study: Study) -> Block:
    table = paths_table(study)
    kept = DataTable(
        key=table.key,
        title=table.title,
        columns=table.columns,
        rows=tuple(row for row in table.rows if row[0] is not None),
    )
    score = {(k, "score"): score_derivation(study, r) for k, r in enumerate(study.ranking.order)}
    only = [c.key for c in table.columns if c.key not in ("place", "title", "feasible")]
    return table_block(kept, only=only, strong=(0,), derivations=score, caption="The feasible paths, best first")


def _how_scored() -> str:
    return (
        "On each measure the best of the feasible paths scores 100 % and the others in proportion; the score is the "
        "mean under the weights of the design file. The weightings tried are random, each weight between a third and "
        "three times the file's."
    )


def _place_words(study: Study) -> str:
    own = profile(study.case)
    share, power = own.share, own.mean
    return (
        f"The map varies only the use, with the parts of this study: this product draws {show(power, 'W', 3)} on "
        f"average and is on a source for {show(share, '1', 2)} of the time."
    )


def _out(study: Study) -> list[Block]:
    rejected = [p for p in study.paths if not p.feasible]
    if not rejected:
        return [Paragraph(text="Every candidate can do the job; none is ruled out.")]
    found: list[Block] = [Heading(text="Paths that cannot do the job, with the number that rules them out")]
    for p in rejected:
        found.append(Paragraph(text=f"{p.path.title} ({p.path.key})", tone="bad"))
        found.append(Bullets(items=tuple(_capital(w) for w in why_out(p))))
    return found


def _requirements(study: Study) -> Block:
    table = requirements_table(study)

    def tone(row: int, key: str) -> Tone:
        if key != "met" or table.rows[row][3]:
            return "plain"
        return "bad" if table.rows[row][2] == "must" else "thin"

    return table_block(table, tones=tone)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
