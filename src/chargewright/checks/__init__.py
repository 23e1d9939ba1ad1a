"""Design checks: one file each; adding a file here adds a check."""

from chargewright.base.shelf import Shelf
from chargewright.checks.review import Check

shelf: Shelf[Check] = Shelf(__name__, __path__, "CHECK", besides=("review", "run"))
