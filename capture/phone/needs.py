"""The libraries that only the phone's page needs, imported when it is wanted."""

from __future__ import annotations

import importlib
from typing import Any

from dawnbeat.shared.errors import DawnbeatError


def needed(name: str) -> Any:
    """Import a library by name; raises DawnbeatError, with what to do, where it is missing or broken."""
    try:
        return importlib.import_module(name)
    except ImportError as error:
        raise DawnbeatError(
            f"a phone as the camera needs {name.split('.')[0]}, which can't be loaded: install Dawnbeat again"
        ) from error
