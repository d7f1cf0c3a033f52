from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from dawnbeat.journal.store import Journal


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "home"


@pytest.fixture
def journal(home: Path) -> Iterator[Journal]:
    with Journal.open(home) as opened:
        yield opened
