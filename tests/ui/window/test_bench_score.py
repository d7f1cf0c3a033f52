from __future__ import annotations

import csv
import dataclasses
import io
import threading
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from dawnbeat.morning.bench import Score, score
from dawnbeat.shared.settings import Settings
from dawnbeat.ui.window.bench import scoring as bench_scoring
from dawnbeat.ui.window.bench.scoring import COLUMNS, ScoringView, scores_csv
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.parts.rows import RowsModel

SAMPLES = Path(__file__).parents[3] / "recordings"


def test_a_sample_scores_as_it_must() -> None:
    found = score(SAMPLES / "calm-morning", Settings())
    assert found.trouble is None
    assert found.usable is found.expected is True
    assert found.agreement == 1.0
    assert found.kept_share is not None
    assert found.kept_share > 0.95
    assert not found.wrong


def test_a_verdict_other_than_the_expected_one_is_wrong() -> None:
    found = score(SAMPLES / "calm-morning", dataclasses.replace(Settings(), min_agreement=1.0, min_duration_s=300.0))
    assert found.usable is False
    assert found.wrong


def test_what_cannot_be_read_says_why(tmp_path: Path) -> None:
    assert str(tmp_path / "none.csv") in (score(tmp_path / "none.csv", Settings()).trouble or "")


def test_a_usable_reading_far_from_its_reference_is_wrong() -> None:
    near = Score(Path("near"), usable=True, rmssd_ms=52.0, rmssd_off_ms=4.0)
    far = Score(Path("far"), usable=True, rmssd_ms=60.0, rmssd_off_ms=12.0)
    assert (near.wrong, far.wrong) == (False, True)
    assert not dataclasses.replace(far, usable=False).wrong


def test_the_worst_comes_first_and_every_column_sorts(qtbot: QtBot) -> None:
    scores = [
        Score(Path("good"), usable=True, agreement=1.0, kept_share=0.99, timing_error_ms=1.0),
        Score(Path("rightly-not"), usable=False, expected=False, agreement=0.2, kept_share=0.1),
        Score(Path("fair"), usable=True, agreement=0.97, kept_share=0.9, timing_error_ms=1.0),
        Score(Path("not-usable"), usable=False, kept_share=0.4, timing_error_ms=9.0),
        Score(Path("broken"), trouble="can't be read"),
        Score(Path("wrong"), usable=True, expected=False, agreement=0.99, kept_share=0.9),
    ]
    model = RowsModel(COLUMNS, lambda each: each.path)
    for each in scores:
        model.add(each)
    assert [each.path.name for each in model.rows] == ["broken", "wrong", "not-usable", "fair", "good", "rightly-not"]
    for column in range(len(COLUMNS)):
        model.sort(column, Qt.SortOrder.AscendingOrder)
        assert model.rowCount() == len(scores)
    model.sort(3, Qt.SortOrder.AscendingOrder)
    kept = [model.index(row, 3).data() for row in range(model.rowCount())]
    assert kept == ["", "10 %", "40 %", "90 %", "90 %", "99 %"]


def test_scores_are_saved_with_whole_paths_and_no_formula(tmp_path: Path) -> None:
    scores = [Score(Path("/a/=1+1"), usable=True, kept_share=0.9), Score(Path("/a/b"), trouble="=can't be read")]
    rows = list(csv.DictReader(io.StringIO(scores_csv(scores))))
    assert [row["Recording"] for row in rows] == ["/a/=1+1", "/a/b"]
    assert rows[1]["Why"] == "'=can't be read"


def test_a_folder_is_scored_in_other_processes(qtbot: QtBot, context: AppContext) -> None:
    view = ScoringView(context)
    qtbot.addWidget(view)
    view.show()
    opened: list[Path] = []
    view.opened.connect(opened.append)
    view.score([SAMPLES / "calm-morning", SAMPLES / "poor-light", SAMPLES / "nowhere"])
    assert view.running
    assert view.stop.isEnabled()
    qtbot.waitUntil(lambda: not view.running and len(view.model.rows) == 3)
    assert {each.path.name: each.usable for each in view.model.rows} == {
        "calm-morning": True,
        "poor-light": False,
        "nowhere": None,
    }
    assert view.model.rows[0].path.name == "nowhere"
    assert "3 scored: 1 usable, 1 not usable, 1 unreadable; 0 of them wrong." in view.told.text()
    view.table.setCurrentIndex(view.model.index(2, 0))
    view.table.activated.emit(view.model.index(2, 0))
    assert opened == [SAMPLES / "poor-light"]
    view.set_settings(dataclasses.replace(Settings(), lowpass_hz=6.0))
    assert "score again" in view.told.text()


def test_cancelling_keeps_what_came_and_ends_the_processes(
    qtbot: QtBot, context: AppContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    pools: list[_SlowPool] = []

    class _SlowPool:
        def __init__(self, _settings: Settings) -> None:
            self._stop = threading.Event()

        def stop(self) -> None:
            self._stop.set()

        def as_ready(self, paths):  # type: ignore[no-untyped-def]
            pools.append(self)
            yield Score(paths[0], usable=True)
            while not self._stop.wait(0.01):
                yield None

    monkeypatch.setattr(bench_scoring, "scoring", _SlowPool)
    view = ScoringView(context)
    qtbot.addWidget(view)
    view.show()
    view.score([SAMPLES / "calm-morning", SAMPLES / "slow-heart"])
    qtbot.waitUntil(lambda: len(view.model.rows) == 1)
    view.stop.click()
    assert not view.running
    qtbot.waitUntil(lambda: not context.background.busy)
    assert pools[0]._stop.is_set()
    assert len(view.model.rows) == 1
    assert not view.stop.isEnabled()
    assert view.again.isEnabled()


def test_a_folder_without_recordings_is_said(qtbot: QtBot, context: AppContext, tmp_path: Path) -> None:
    view = ScoringView(context)
    qtbot.addWidget(view)
    view.score([tmp_path])
    qtbot.waitUntil(lambda: not view.running)
    assert "holds no recording" in view.told.text()


def test_an_empty_table_is_not_shown(qtbot: QtBot, context: AppContext) -> None:
    view = ScoringView(context)
    qtbot.addWidget(view)
    view.show()
    assert not view.table.isVisible()
    assert view.told.isVisible()
