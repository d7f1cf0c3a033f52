from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path

import hypothesis
import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from dawnbeat.journal.store import Journal
from dawnbeat.recordings.invented.mornings import invented_analysis
from dawnbeat.shared.morning import Circumstances, Context, Posture
from dawnbeat.shared.reading import Analysis

Taken = Callable[..., Circumstances]
Analysed = Callable[..., Analysis]

# Patience: a machine with other work to do takes its time, and a test that waits in vain fails all the same.
PATIENCE_MS = 60_000
hypothesis.settings.register_profile("patient", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow])
hypothesis.settings.load_profile("patient")
for wait in (QtBot.waitUntil, QtBot.waitSignal):
    assert wait.__kwdefaults__["timeout"] < PATIENCE_MS
    wait.__kwdefaults__["timeout"] = PATIENCE_MS


@pytest.fixture
def never_waits() -> Iterator[None]:
    """Ends what waits for ever, such as the opening of a pipe that nobody writes to, so that the test fails."""

    def waited(number: int, frame: object) -> None:
        raise RuntimeError("it waits for something that never comes")

    before = signal.signal(signal.SIGALRM, waited)
    signal.alarm(PATIENCE_MS // 1000)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "home"


@pytest.fixture
def journal(home: Path) -> Iterator[Journal]:
    with Journal.open(home) as opened:
        yield opened


@pytest.fixture
def taken() -> Taken:
    def make(
        text: str = "2025-03-01T06:41:07", offset_h: float = 1, posture: Posture = "lying", **context: object
    ) -> Circumstances:
        began = datetime.fromisoformat(text).replace(tzinfo=timezone(timedelta(hours=offset_h)))
        return Circumstances(began, posture, "invented camera", Context(**context))  # type: ignore[arg-type]

    return make


@pytest.fixture
def analysed() -> Analysed:
    def make(ln_rmssd: float = 4.0, pulse_bpm: float = 50.0, usable: bool = True, seed: int = 1) -> Analysis:
        return invented_analysis(ln_rmssd, pulse_bpm, np.random.default_rng(seed), moved=not usable)

    return make
