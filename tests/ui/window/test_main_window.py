from __future__ import annotations

import importlib
import os
import signal
import sys
import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QLineEdit, QTextBrowser, QWidget
from pytestqt.qtbot import QtBot

from dawnbeat.morning.choices import ChoiceStore
from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.shared.wording import WORD_JOINER
from dawnbeat.training import zone_store
from dawnbeat.training.maximum import Maximum
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell import main_window
from dawnbeat.ui.window.shell.help import FIRST_WORDS, FirstStart
from dawnbeat.ui.window.shell.main_window import MainWindow
from dawnbeat.ui.window.zones.page import ZonesPage
from dawnbeat.ui.window.zones.pulses import ENTERED


@pytest.fixture
def window(qtbot: QtBot, context: AppContext) -> Iterator[MainWindow]:
    context.choose(met=True)
    made = MainWindow(context, "mornings")
    qtbot.addWidget(made)
    made.show()
    made.activateWindow()
    qtbot.waitUntil(made.isActiveWindow)
    qtbot.waitUntil(lambda: made.current == "mornings")
    yield made
    context.background.stop()


def test_number_keys_go_to_the_pages(qtbot: QtBot, window: MainWindow) -> None:
    qtbot.keyClick(window, "6")
    assert window.current == "settings"
    qtbot.keyClick(window, Qt.Key.Key_F1)
    assert window.current == "help"
    qtbot.keyClick(window, "2")
    assert window.current == "mornings"


def test_a_number_typed_into_a_field_stays_there(qtbot: QtBot, window: MainWindow) -> None:
    words = window.pages["mornings"].findChild(QLineEdit)
    assert words is not None
    words.setFocus()
    qtbot.keyClicks(words, "2025-06")
    assert words.text() == "2025-06"
    assert window.current == "mornings"


@pytest.mark.usefixtures("qapp")
def test_a_page_that_is_not_there_is_said() -> None:
    with pytest.raises(DawnbeatError, match="moon"):
        main_window.run_window(page="moon")


def test_pages_are_made_when_they_are_first_wanted(window: MainWindow) -> None:
    assert set(window.pages) == {"mornings"}
    window.go("help")
    assert set(window.pages) == {"mornings", "help"}


def test_what_is_said_stands_at_the_foot(window: MainWindow, context: AppContext) -> None:
    context.say("The disk is nearly full.")
    assert window.status.text() == "The disk is nearly full."


def test_the_window_remembers_its_place(qtbot: QtBot, window: MainWindow, context: AppContext) -> None:
    window.resize(700, 560)
    window.close()
    again = MainWindow(context, "help")
    qtbot.addWidget(again)
    assert again.size() == window.size()


def test_a_damaged_memory_of_the_place_does_no_harm(qtbot: QtBot, context: AppContext) -> None:
    context.store.folder.mkdir(parents=True, exist_ok=True)
    (context.store.folder / "place.json").write_text('{"geometry": "%%%"}')
    made = MainWindow(context, "help")
    qtbot.addWidget(made)
    assert made.width() >= 480


def test_closing_asks_where_something_is_going_on(window: MainWindow, monkeypatch: pytest.MonkeyPatch) -> None:
    page = window.pages["mornings"]
    asked: list[str] = []
    closed: list[bool] = []
    monkeypatch.setattr(page, "busy", lambda: "A reading is running.")
    monkeypatch.setattr(page, "closing", lambda: closed.append(True))
    monkeypatch.setattr(window, "_really_close", lambda going_on, unsaved: asked.extend((*going_on, *unsaved)))
    assert not window.close()
    assert asked == ["A reading is running."]
    assert closed == []
    monkeypatch.setattr(window, "_really_close", lambda *_: True)
    assert window.close()
    assert closed == [True]


def test_zones_edited_and_not_kept_are_asked_about(
    qtbot: QtBot, window: MainWindow, context: AppContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    began = datetime(2025, 6, 1, 7, 0).astimezone()
    zone_store.add_maximum(context.journal, Maximum(began.date(), "race", 185.0), began.date())
    window.go("zones")
    page = window.pages["zones"]
    assert isinstance(page, ZonesPage)
    page.pulses.choose_resting(ENTERED)
    page.editor.count.setValue(4)
    asked: list[str] = []
    monkeypatch.setattr(window, "_really_close", lambda going_on, unsaved: asked.extend(unsaved))
    assert not window.close()
    assert "not saved" in " ".join(asked)
    asked.clear()
    page.keep()
    monkeypatch.setattr(window, "_really_close", lambda *_: pytest.fail("nothing is lost any more"))
    assert window.close()


def test_a_first_window_fits_the_screen(window: MainWindow) -> None:
    for width, height in ((1024, 700), (1366, 768), (683, 384), (2560, 1440)):
        size = window.first_size(QSize(width, height))
        assert size.width() <= width
        assert size.height() + 30 <= height
    assert window.first_size(QSize(2560, 1440)) == QSize(1180, 760)
    assert window.size() == window.first_size(window.screen().availableSize())
    window.resize(window.first_size(QSize(683, 384)))
    QApplication.processEvents()
    foot = window.status.mapTo(window, window.status.rect().bottomRight())
    assert window.rect().contains(foot)


def test_the_foot_stays_where_it_is_whatever_is_said(window: MainWindow, context: AppContext) -> None:
    window.resize(800, 600)
    heights = set()
    for words in ("", "Short.", "A long sentence that goes on. " * 20):
        context.say(words)
        QApplication.processEvents()
        heights.add(window.stack.height())
        assert window.status.toolTip() == words
    assert len(heights) == 1


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signal for one process")
def test_ctrl_c_in_the_terminal_ends_the_window(qtbot: QtBot, window: MainWindow) -> None:
    with main_window.interrupts(window.end):
        os.kill(os.getpid(), signal.SIGINT)
        qtbot.waitUntil(window.isHidden)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signal for one process")
def test_ctrl_c_ends_a_window_that_was_opened_by_the_command(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> int:
        windows = [each for each in QApplication.topLevelWidgets() if isinstance(each, MainWindow)]
        (opened,) = (each for each in windows if each.isVisible())
        os.kill(os.getpid(), signal.SIGINT)
        qtbot.waitUntil(opened.isHidden)
        return 0

    monkeypatch.setattr(QApplication, "exec", interrupted)
    before = signal.signal(signal.SIGINT, lambda *_: None)
    try:
        assert main_window.run_window(tmp_path / "here", "help") == 0
    finally:
        signal.signal(signal.SIGINT, before)


def test_ctrl_c_asks_nothing(qtbot: QtBot, window: MainWindow, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(window.pages["mornings"], "unsaved", lambda: "Edits are not saved.")
    monkeypatch.setattr(window, "_really_close", lambda *_: pytest.fail("nobody is there to answer"))
    window.end()
    assert window.isHidden()


def test_what_a_page_rests_on_is_loaded_off_the_windows_thread(
    qtbot: QtBot, window: MainWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    name, loaded_in, real = "dawnbeat.morning.bench", [], importlib.import_module
    monkeypatch.delitem(sys.modules, name, raising=False)

    def load(module: str) -> object:
        if module == name:
            loaded_in.append(threading.current_thread())
        return real(module)

    monkeypatch.setattr(main_window.importlib, "import_module", load)
    window.go("bench")
    assert window.current is None
    assert "Bench" in window.waiting.text()
    assert window.focusWidget() is window._entries["bench"]
    qtbot.waitUntil(lambda: window.current == "bench")
    assert loaded_in
    assert loaded_in[0] is not threading.main_thread()


def test_whoever_goes_on_elsewhere_is_not_brought_back(
    qtbot: QtBot, window: MainWindow, context: AppContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delitem(sys.modules, "dawnbeat.morning.bench", raising=False)
    window.go("bench")
    window.go("help")
    qtbot.waitUntil(lambda: not context.background.busy)
    assert window.current == "help"


def test_a_reading_that_runs_is_marked_while_another_page_shows(
    window: MainWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(window.pages["mornings"], "busy", lambda: "A reading is running.")
    window.go("help")
    assert "●" in window._entries["mornings"].text()
    monkeypatch.setattr(window.pages["mornings"], "busy", lambda: None)
    window._mark_busy()
    assert "●" not in window._entries["mornings"].text()


def test_text_grows_and_shrinks_by_key_between_100_and_200(
    qtbot: QtBot, window: MainWindow, context: AppContext
) -> None:
    for key, start, there in ((Qt.Key.Key_Plus, 180, (190, 200, 200)), (Qt.Key.Key_Minus, 120, (110, 100, 100))):
        context.choose(text_percent=start)
        for percent in there:
            qtbot.keyClick(window, key, Qt.KeyboardModifier.ControlModifier)
            assert context.choices.text_percent == percent


def test_the_first_words_are_shown_once(qtbot: QtBot, context: AppContext) -> None:
    made = MainWindow(context, "help")
    qtbot.addWidget(made)
    with qtbot.waitExposed(made):
        made.show()
    qtbot.waitUntil(lambda: made.findChild(FirstStart) is not None)
    dialog = made.findChild(FirstStart)
    assert dialog is not None
    assert len(FIRST_WORDS) == 4
    assert "pacemaker" in FIRST_WORDS[-1]
    qtbot.keyClick(dialog, Qt.Key.Key_Return)
    assert context.choices.met
    assert ChoiceStore(context.store.folder).load().met


def test_help_says_the_first_words_every_key_and_the_sources(window: MainWindow) -> None:
    window.go("settings")
    window.go("help")
    text = window.pages["help"].findChild(QTextBrowser)
    assert text is not None
    said = text.toPlainText().replace(WORD_JOINER, "")
    for words in FIRST_WORDS:
        assert words in said
    for keys in controls.overview().values():
        for key in keys:
            assert key.does in said
            assert QKeySequence(key.keys).toString(QKeySequence.SequenceFormat.NativeText) in said
    assert said.count("A reading is what was worked out from it") == 1
    for source in ("Circulation 93:1043-1065", "Plews et al. 2014", "Lipponen & Tarvainen 2019", "Vesterinen"):
        assert source in said


@pytest.mark.parametrize("page", ["mornings", "settings", "help"])
def test_every_control_has_a_name_and_takes_the_keyboard(window: MainWindow, page: str) -> None:
    window.go(page)
    widget = window.pages[page]
    controls: list[QWidget] = [*widget.findChildren(QAbstractButton), *widget.findChildren(QComboBox)]
    controls += [each for each in widget.findChildren(QLineEdit) if not each.objectName().startswith("qt_")]
    named = [each for each in controls if each.parent() is not None and not each.objectName().startswith("qt_")]
    internal = ("QTableCornerButton", "QScrollBar", "QAbstractButton", "QLineEditIconButton")
    for control in named:
        if control.metaObject().className() in internal:
            continue
        assert control.accessibleName(), control
        assert control.focusPolicy() & Qt.FocusPolicy.TabFocus, control.accessibleName()
        if isinstance(control, QAbstractButton):
            assert control.toolTip(), control.accessibleName()


def test_no_two_things_on_one_page_share_a_key(window: MainWindow) -> None:
    for page in ("mornings", "settings"):
        window.go(page)
        keys = [
            each.key().toString()
            for each in window.findChildren(QShortcut)
            if isinstance(each.parent(), QWidget)
            and each.parent().isVisible()
            and each.context() == Qt.ShortcutContext.WindowShortcut
        ]
        assert len(keys) > 8
        assert len(keys) == len(set(keys)), sorted(keys)


def test_the_window_opens_on_a_journal_and_says_why_it_cannot(
    qapp: QApplication, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(QApplication, "exec", lambda *_: 0)
    assert main_window.run_window(tmp_path / "here", "help") == 0
    assert (tmp_path / "here" / "journal.sqlite3").exists()
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "journal.sqlite3").write_bytes(b"not a journal at all" * 100)
    shown: list[str] = []
    monkeypatch.setattr(QApplication, "platformName", lambda *_: "xcb")
    monkeypatch.setattr(main_window.QMessageBox, "warning", lambda *args: shown.append(args[-1]))
    with pytest.raises(DawnbeatError, match="damaged"):
        main_window.run_window(tmp_path / "broken")
    assert "damaged" in shown[0]
