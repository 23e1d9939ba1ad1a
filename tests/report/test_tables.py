"""Tables: how numbers of one column are told to people."""

from chargewright.report.tables import column, table_block, table_form


def _energies(*joules: float | None) -> list[str]:
    form = table_form("losses", "Losses", [column("where", "where"), column("e", "a day", "J")])
    block = table_block(form.filled([("somewhere", value) for value in joules]))
    return [row[1].text for row in block.rows]


def test_a_column_with_one_large_energy_is_in_watt_hours_throughout():
    # 1 Wh is 3600 J.
    assert _energies(31_644.0, 280.0, 1.32, None) == ["8.79 Wh", "77.8 mWh", "367 µWh", "–"]


def test_a_column_of_small_energies_stays_in_joules():
    assert _energies(280.0, 1.32) == ["280 J", "1.32 J"]
