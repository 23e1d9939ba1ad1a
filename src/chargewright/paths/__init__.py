"""Power-path architectures: one file each; adding a file here adds an architecture."""

from chargewright.base.shelf import Shelf
from chargewright.network.graph import PowerPath

shelf: Shelf[PowerPath] = Shelf(__name__, __path__, "PATH")
