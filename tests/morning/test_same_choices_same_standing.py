"""The same choices give the same standing, whichever way the runner asks."""

from __future__ import annotations

import os

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication

from dawnbeat.journal.store import Journal
from dawnbeat.morning.answer_text import facts
from dawnbeat.morning.answering import grounds
from dawnbeat.morning.choices import Choices, ChoiceStore
from dawnbeat.recordings.invented.mornings import fill_with_invented_mornings
from dawnbeat.ui.main import run
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.main_window import make_app

OTHER = {"week_days": 3, "history_days": 20, "worthwhile_sd": 1.5}


@pytest.fixture(scope="module")
def qapp() -> QApplication:
    return make_app()


@pytest.fixture
def journal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Journal]:
    monkeypatch.setenv("DAWNBEAT_HOME", str(tmp_path))
    monkeypatch.setenv("COLUMNS", "400")
    with Journal.open() as opened:
        fill_with_invented_mornings(opened, date.today())
        yield opened


def printed(capsys: pytest.CaptureFixture[str]) -> str:
    assert run(["mornings"]) == 0
    return " ".join(capsys.readouterr().out.split())


def test_the_terminal_obeys_the_windows_that_the_window_keeps(
    qapp: QApplication, journal: Journal, capsys: pytest.CaptureFixture[str]
) -> None:
    usual = printed(capsys)
    context = AppContext(journal)
    context.choose(ranges=OTHER)
    assert context.ranges.history_days == 20
    on_the_page = facts(grounds(journal, date.today(), context.ranges).answer())[0]
    chosen = printed(capsys)
    assert " ".join(on_the_page.split()) in chosen
    assert " ".join(on_the_page.split()) not in usual
    context.background.stop()


def test_a_damaged_file_stops_commands_and_window_alike(
    qapp: QApplication, journal: Journal, capsys: pytest.CaptureFixture[str]
) -> None:
    store = ChoiceStore()
    store.save(Choices())
    store.path.write_text("{")
    for words in (["mornings"], ["rescue"], []):
        assert run(words) == 2
        line = capsys.readouterr().err
        assert str(store.path) in line
        assert line.count("\n") == 1
