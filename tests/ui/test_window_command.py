from __future__ import annotations

import pytest

from dawnbeat.ui.window.shell import main_window
from tests.ui.command_line import CommandLine


def test_page_and_source_are_handed_to_the_window(cli: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[object, ...]] = []

    def run_window(home: object, page: object, source: object) -> int:
        asked.append((home, page, source))
        return 0

    monkeypatch.setattr(main_window, "run_window", run_window)
    cli("window", "--page", "bench", "--source", "rehearsal").fine()
    assert asked == [(None, "bench", "rehearsal")]


@pytest.mark.parametrize(
    ("words", "said"),
    [(("--page", "moon"), "say read, mornings"), (("--source", "missing.mp4"), "there is no source 'missing.mp4'")],
)
def test_what_is_not_there_is_said_before_a_window_opens(cli: CommandLine, words: tuple[str, ...], said: str) -> None:
    assert said in cli("window", *words).refused()
