from __future__ import annotations

import threading

import pytest
from pytestqt.qtbot import QtBot

from dawnbeat.shared.errors import DawnbeatError
from dawnbeat.ui.window.parts.background import Background, Task


@pytest.fixture
def background(qtbot: QtBot) -> Background:
    return Background()


def test_the_result_arrives_in_the_thread_of_the_window(qtbot: QtBot, background: Background) -> None:
    threads: list[int] = []

    def work(task: Task) -> int:
        threads.append(threading.get_ident())
        return 42

    got: list[int] = []
    background.run(work, done=lambda value: (got.append(value), threads.append(threading.get_ident())))
    qtbot.waitUntil(lambda: not background.busy)
    assert got == [42]
    assert threads[0] != threads[1] == threading.get_ident()


def test_an_error_of_ours_arrives_as_its_one_line(qtbot: QtBot, background: Background) -> None:
    def work(task: Task) -> None:
        raise DawnbeatError("the disk is full: free some space")

    said: list[str] = []
    background.run(work, failed=said.append)
    qtbot.waitUntil(lambda: bool(said))
    assert said == ["the disk is full: free some space"]


def test_any_other_fault_is_told_and_logged(
    qtbot: QtBot, background: Background, caplog: pytest.LogCaptureFixture
) -> None:
    said: list[str] = []
    background.run(lambda task: 1 / 0, failed=said.append)
    qtbot.waitUntil(lambda: bool(said))
    assert "ZeroDivisionError" in said[0]
    assert "work in the background failed" in caplog.text


def test_progress_is_passed_on_and_cancelling_ends_the_work(qtbot: QtBot, background: Background) -> None:
    go = threading.Event()
    seen: list[tuple[int, int]] = []
    results: list[object] = []

    def work(task: Task) -> str:
        task.progress(1, 3)
        go.wait(5)
        task.progress(2, 3)
        return "should never be seen"

    running = background.run(work, done=results.append, progressed=lambda done, of: seen.append((done, of)))
    qtbot.waitUntil(lambda: seen == [(1, 3)])
    with qtbot.waitSignal(running.ended):
        running.cancel()
        go.set()
    assert results == []
    assert seen == [(1, 3)]
