"""The same frames through the command and through the window's page give the same trace, reading and words."""

from __future__ import annotations

import os

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import dataclasses
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.morning import sources
from dawnbeat.morning.choices import Choices, ChoiceStore
from dawnbeat.morning.reading_text import verdict_lines
from dawnbeat.morning.taking import Taking
from dawnbeat.signal.live import LiveBeats
from dawnbeat.ui.as_json import answer_data
from dawnbeat.ui.main import run
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.read.page import ReadPage
from dawnbeat.ui.window.shell.main_window import make_app
from tests.morning.scripted import Clocks, Scripted

SCRIPTS = {
    "all is well": Scripted(),
    "finger lifted for ten seconds": Scripted(away=((50.0, 60.0),)),
    "finger lifted while settling": Scripted(away=((12.0, 15.0),)),
    "source falls silent": Scripted(silent_at_s=75.0),
    "camera unplugged": Scripted(breaks_at_s=70.0),
    "computer slept": Scripted(jumps_at_s=70.0),
    "finger stays away": Scripted(away=((60.0, 199.0),)),
}


@pytest.fixture(scope="module")
def qapp() -> QApplication:
    return make_app()


@pytest.fixture
def scripted(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    script = SCRIPTS[request.param]
    clocks = Clocks()
    monkeypatch.setattr(sources, "open_source", lambda words, **more: dataclasses.replace(script))
    # What is drawn meanwhile costs most of the time, and nothing of the reading rests on it.
    monkeypatch.setattr(LiveBeats, "_look", lambda _self, _now_s: None)
    for name, clock in clocks.all.items():
        monkeypatch.setitem(Taking.__init__.__kwdefaults__, name, clock)  # type: ignore[arg-type]


def by_command(home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    monkeypatch.setenv("DAWNBEAT_HOME", str(home))
    ChoiceStore().save(Choices(duration_s=60, posture="sitting"))
    assert run(["read", "--json", "--no-ask"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def by_window(home: Path, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot) -> ReadPage:
    monkeypatch.setenv("DAWNBEAT_HOME", str(home))
    ChoiceStore().save(Choices(duration_s=60, posture="sitting"))
    context = AppContext(Journal.open())
    page = ReadPage(context)
    qtbot.addWidget(page)
    page.begin()
    qtbot.waitUntil(lambda: page._result is not None and page.result.kept is not None)
    context.background.stop()
    context.journal.close()
    return page


@pytest.mark.parametrize("scripted", SCRIPTS, indirect=True)
def test_both_ways_agree_bit_for_bit(
    qapp: QApplication,
    qtbot: QtBot,
    scripted: None,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = by_command(tmp_path / "one", monkeypatch, capsys)
    page = by_window(tmp_path / "other", monkeypatch, qtbot)
    found = []
    for home in (tmp_path / "one", tmp_path / "other"):
        with Journal.open(home) as journal:
            (reading,) = journal.readings()
            intervals = journal.intervals(reading.id)
        trace = (home / str(reading.recording) / "trace.csv").read_bytes()
        then = datetime(2000, 1, 1, tzinfo=UTC)
        same = dataclasses.replace(reading, uid="", began=then, recording=None)
        found.append((trace, repr(same), intervals.interval_ms.tolist(), intervals.left_out))
    assert found[0] == found[1]
    assert (said["ended_early"] or "") == page.result.ended.text()
    kept = page.result.kept
    assert kept is not None
    assert kept.grounds is not None
    assert said["reasons"] == verdict_lines(kept.analysis.verdict)
    assert said["answer"] == answer_data(kept.grounds.answer())
    assert page.result.card.headline.text() == said["answer"]["headline"]
    assert found[0][0].count(b"\n") > 1000
