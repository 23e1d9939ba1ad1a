"""Which version of the package is running."""

from importlib.metadata import PackageNotFoundError, version


def own_version() -> str:
    """Return the version of this package."""
    try:
        return version("chargewright")
    except PackageNotFoundError:
        return "(not installed)"
