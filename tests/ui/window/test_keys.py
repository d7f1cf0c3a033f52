from __future__ import annotations

import re

import pytest
from PySide6.QtWidgets import QTextBrowser
from pytestqt.qtbot import QtBot

from dawnbeat.shared.wording import unbroken
from dawnbeat.ui.window.parts import controls
from dawnbeat.ui.window.parts.context import AppContext
from dawnbeat.ui.window.shell.help import HelpPage, kept_keys
from tests.ui.window.every_page import make_every_page, registered

KEYS = [(key.where, key.keys, key.does) for key in kept_keys()]
# Tips that mean the same in other words.
_SAME = {"import": "open", "keep": "save", "enter": "keep", "stop": "cancel", "score": "again", "analyse": "again"}


def test_the_overview_holds_every_key_before_any_page_was_made(
    qtbot: QtBot, context: AppContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(controls, "_known", {})
    page = HelpPage(context)
    qtbot.addWidget(page)
    page.shown()
    browser = page.findChild(QTextBrowser)
    assert browser is not None
    said = " ".join(browser.toPlainText().split())
    for _, _, does in KEYS:
        assert " ".join(unbroken(does).split()) in said  # no option of a command ends a line within itself


def test_the_overview_is_what_the_pages_tell(
    qtbot: QtBot, context: AppContext, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(controls, "_known", {})
    for page in make_every_page(context):
        qtbot.addWidget(page)
    assert registered() == set(KEYS), "run: QT_QPA_PLATFORM=offscreen python -m tests.ui.window.every_page"


def _words(does: str) -> set[str]:
    found = [word for word in re.findall(r"[a-z]+", does.lower()) if len(word) > 3 or word in ("put", "go")]
    return {_SAME.get(word, word) for word in found} | set(found)


@pytest.mark.parametrize("keys", sorted({keys for _, keys, _ in KEYS}))
def test_a_key_means_the_same_wherever_it_acts(keys: str) -> None:
    meanings = [_words(does) for _, each, does in KEYS if each == keys]
    joined, waiting = meanings[0], meanings[1:]
    while fits := [each for each in waiting if each & joined]:
        joined = joined.union(*fits)
        waiting = [each for each in waiting if not each & joined]
    assert not waiting, [does for _, each, does in KEYS if each == keys]
