"""Write `tests/pinned/examples.json`: the numbers of the shipped examples as they are now, to notice when they move.

Run it from the project's folder after a change that is meant to move results, and say in CHANGELOG.md, under "Results
that move", which number, before, after, why.
"""

import json
from pathlib import Path
from typing import Any

from chargewright.spec.load import load_design
from chargewright.studies.study import Study, study_design

ROOT = Path(__file__).parents[1]
PINNED = ROOT / "tests" / "pinned" / "examples.json"


def numbers_of(study: Study) -> dict[str, Any]:
    """Return the key numbers of a study, SI: of every feasible path its score, measures and bus."""
    return {
        "order": [r.key for r in study.ranking.order],
        "paths": {
            r.key: {
                "score": r.total,
                **(study.path(r.key).measures or {}),
                "bus_source_max": study.path(r.key).window.source_max,
                "bus_pack_min": study.path(r.key).window.pack_min,
                "throughput": study.path(r.key).day.throughput,
            }
            for r in study.ranking.order
        },
        "reach": {e.key: e.edge for e in study.reach.edges if e.edge < float("inf")},
    }


def main() -> None:
    """Study every example and write what came out."""
    found = {
        file.stem: numbers_of(study_design(load_design(file), file)) for file in sorted(ROOT.glob("examples/*.yaml"))
    }
    PINNED.write_text(json.dumps(found, indent=1) + "\n", "utf-8")
    print(f"{PINNED}: {sum(len(e['paths']) for e in found.values())} paths")


if __name__ == "__main__":
    main()
