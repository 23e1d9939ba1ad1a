"""A design that names an aged pack gets that pack's charge beside the others."""

from pathlib import Path

import jsonschema

from chargewright.dossier.door import study
from chargewright.dossier.tables import table
from chargewright.report.record import study_record
from chargewright.report.schema import study_json_schema

TEXT = """\
name: Aged
sources:
  - {name: adapter, kind: fixed, voltage: 20 V ±5 %, current: 3.25 A}
pack:
  cell: nmc-energy
  series: 2
  ageing: {capacity: 80 %, resistance: 150 %}
charge:
  timer_rule: half
  steps: [{until: 3.9 V, current: 0.6 C}]
  wake: {current: 0.02 C, until: 2.5 V, timer: 10 min}
system:
  load: 12 W
candidates: [narrow-buck]
"""


def test_the_aged_pack_s_charge_is_one_of_the_charges(tmp_path: Path):
    (tmp_path / "aged.yaml").write_text(TEXT)
    dossier = study(tmp_path / "aged.yaml")
    titles = [row["title"] for row in table(dossier, "charges")]
    assert titles[-1] == "from adapter, aged pack (80 % of its capacity, 150 % of its resistance)"
    new, old = dossier.charges[0].run, dossier.charges[-1].run
    # By hand: 80 % of the charge, a little less for the greater drop at the same end current.
    assert 0.78 < old.charge / new.charge < 0.8
    jsonschema.validate(study_record(dossier), study_json_schema())
