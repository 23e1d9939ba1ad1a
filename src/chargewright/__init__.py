"""From one design file to a decided, sized and documented power path for lithium-powered products.

import chargewright
dossier = chargewright.study("product.yaml")
dossier                       # the verdict
chargewright.table(dossier, "findings")     # a list of dicts
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chargewright.dossier.door import study
    from chargewright.dossier.tables import columns, table

__all__ = ["columns", "study", "table"]


def __getattr__(name: str) -> object:
    """Import the front door when it is first asked for, so that the command line starts without it."""
    if name == "study":
        from chargewright.dossier.door import study

        return study
    if name in ("columns", "table"):
        from chargewright.dossier import tables

        return getattr(tables, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    """Return the names of the front door."""
    return [*__all__, *(name for name in globals() if name.startswith("__"))]
