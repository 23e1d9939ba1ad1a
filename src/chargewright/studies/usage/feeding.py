"""Which contract of which source feeds a stretch of use: the path's own choice, or one named with the source."""

from chargewright.base.errors import OutOfRange
from chargewright.base.near import hint_of
from chargewright.parts.contracts import contract_named
from chargewright.parts.supply import Supply
from chargewright.studies.needs import Plan, can_pass_through
from chargewright.studies.situation import Situation

_AT = " at "
"""Between source and contract: 'travel charger at 9 V'."""


def named(case: Situation, source: str, contract: str | None) -> str:
    """Return the name under which a stretch is fed; `contract` is a voltage, a contract's own text, or None.

    Raises OutOfRange for a source or contract that the design has not.
    """
    if source == "none" or contract is None:
        return source
    return f"{source}{_AT}{_contract_of(case, source, contract).contract}"


def known_name(case: Situation, name: str) -> str | None:
    """Return the name of a log in full, its contract spelt out; None where the design has no such source."""
    if name in case.sources:
        return name
    source, at, contract = name.rpartition(_AT)
    return named(case, source, contract) if at and source in case.sources else None


def feeding(case: Situation, chosen: Plan, name: str) -> Supply:
    """Return the contract behind a name: the one the path asks for, or the one that is named. Raises OutOfRange."""
    if name in chosen.contracts:
        return chosen.contracts[name]
    source, at, contract = name.rpartition(_AT)
    if not at or source not in case.sources:
        raise OutOfRange(f"no source is called {name!r}; {hint_of(name, case.sources)}")
    return _contract_of(case, source, contract)


def source_of(case: Situation, name: str) -> str:
    """Return the source that a name is of, without its contract."""
    return name if name in case.sources else name.rpartition(_AT)[0]


def passes_through(case: Situation, chosen: Plan, name: str) -> bool:
    """Return whether what feeds under a name may go straight onto the bus."""
    return name in chosen.through or (
        name not in chosen.contracts and can_pass_through(case, chosen.path, feeding(case, chosen, name))
    )


def _contract_of(case: Situation, source: str, contract: str) -> Supply:
    if source not in case.sources:
        raise OutOfRange(f"no source is called {source!r}; there are {', '.join(case.sources)}")
    offered = case.sources[source]
    found = contract_named(offered, contract)
    if found is None:
        shown = ", ".join(f"'{s.contract}'" for s in offered)
        raise OutOfRange(f"{source} has no contract {contract!r}; it offers {shown}")
    return found
