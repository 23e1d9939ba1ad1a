"""Generic cells: one file each; adding a file here adds a cell."""

from chargewright.base.shelf import Shelf
from chargewright.parts.cell import Cell

shelf: Shelf[Cell] = Shelf(__name__, __path__, "CELL")
