"""Kinds of source: one file each; adding a file here adds a kind."""

from typing import TYPE_CHECKING

from chargewright.base.shelf import Shelf

if TYPE_CHECKING:
    from chargewright.parts.sources._kind import SourceKind

shelf: "Shelf[SourceKind]" = Shelf(__name__, __path__, "SOURCE")
