"""The version of the installed program."""

from functools import cache
from importlib.metadata import PackageNotFoundError, version


@cache
def software_version() -> str:
    """The installed version, or "unknown" when run from a folder that was never installed."""
    try:
        return version("dawnbeat")
    except PackageNotFoundError:
        return "unknown"
