"""What happens when …: one file for each transient; adding a file here adds a transient.

A file defines `TRANSIENT`: its title, what happens in words, and a function that writes its script for a product, or
says why this product cannot meet it.
"""

from chargewright.base.shelf import Shelf
from chargewright.studies.transients.record import Transient

shelf: Shelf[Transient] = Shelf(
    __name__, __path__, "TRANSIENT", besides=("record", "product", "phases", "judge", "run", "steady_wave")
)
