"""A shelf: a room in which every file adds one thing of the same kind.

The file name is the key (`direct_boost.py` is `direct-boost`). Keys are listed without importing anything;
`get` imports the one file asked for.
"""

from collections.abc import Iterable, Iterator
from importlib import import_module
from pkgutil import iter_modules
from typing import Any, Generic, TypeVar, cast

from chargewright.base.errors import ChargewrightError
from chargewright.base.near import nearest

T = TypeVar("T")


class Shelf(Generic[T]):
    """The things that the files of one package define under one name."""

    def __init__(self, package: str, paths: Iterable[str], attribute: str, *, besides: tuple[str, ...] = ()) -> None:
        """`attribute` is the name each file defines; `besides` are files of the room that are not on the shelf."""
        self._package = package
        self._paths = list(paths)
        self._attribute = attribute
        self._besides = besides

    def keys(self) -> tuple[str, ...]:
        """Return all keys, sorted, without importing their files."""
        names = (m.name for m in iter_modules(self._paths) if not m.name.startswith("_") and not m.ispkg)
        return tuple(sorted(name.replace("_", "-") for name in names if name not in self._besides))

    def get(self, key: str) -> T:
        """Import and return one thing; an unknown key raises ChargewrightError that names the nearest."""
        if key not in self.keys():
            close = nearest(key, self.keys())
            hint = f"did you mean {close!r}?" if close else f"known: {', '.join(self.keys())}"
            raise ChargewrightError(f"{self._package.rsplit('.', 1)[-1]}: {key!r} is not known; {hint}")
        module: Any = import_module(f"{self._package}.{key.replace('-', '_')}")
        return cast(T, getattr(module, self._attribute))

    def all(self) -> Iterator[tuple[str, T]]:
        """Yield every key with its thing."""
        for key in self.keys():
            yield key, self.get(key)
