from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dawnbeat.journal.store import Journal


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    folder = tmp_path / "outside" / "morning"
    folder.mkdir(parents=True)
    rows = "".join(f"{frame / 30:.6f},180.00000,30.00000,25.00000\n" for frame in range(60))
    (folder / "trace.csv").write_text("time_s,red,green,blue\n" + rows)
    (folder / "about.json").write_text('{"version": 1}')
    return folder


@pytest.fixture
def filled(journal: Journal, taken: Any, analysed: Any) -> Journal:
    journal.save(taken("2025-03-01T06:30:00", note='=HYPERLINK("x")'), analysed())
    journal.save(taken("2025-03-02T06:30:00", note="two\nlines, and a comma"), analysed(usable=False))
    journal.save(taken("2025-03-03T06:30:00", sleep=3, note="'quoted"), analysed(4.2, seed=2))
    journal.put_in_bin(journal.save(taken("2025-03-04T06:30:00"), analysed()).id)
    return journal
