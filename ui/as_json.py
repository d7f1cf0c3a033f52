"""What programs get: one JSON object a line, in which no number is ever NaN or infinite."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dawnbeat.morning.answer import Answer
    from dawnbeat.morning.keeping import Kept
    from dawnbeat.shared.morning import StoredReading
    from dawnbeat.shared.reading import Analysis
    from dawnbeat.training.periods import JudgedRun, Week


def line_of(content: Mapping[str, Any]) -> str:
    """These plain values as one line of JSON."""
    return json.dumps(_finite(content), allow_nan=False, ensure_ascii=False)


def json_line(recording: str, analysis: Analysis) -> str:
    """One line of JSON with everything that a program wants to know of a replayed recording."""
    return line_of(_content(recording, analysis))


def reading_line(kept: Kept, ended: str) -> str:
    """The same of a reading just taken, with when and how, its number in the journal, and how it ended where early."""
    taken, stored = kept.taken, kept.stored
    return line_of(
        {
            **_content(str(kept.folder or ""), kept.analysis),
            "began": taken.began.isoformat(),
            "posture": taken.posture,
            "camera": taken.camera,
            "reading": None if stored is None else stored.id,
            "not_saved": kept.trouble or None,
            "ended_early": ended or None,
            "answer": None if kept.grounds is None else answer_data(kept.grounds.answer()),
        }
    )


def mornings_line(answer: Answer, readings: Iterable[StoredReading]) -> str:
    """The answer of a day, and the readings listed with it."""
    return line_of({"answer": answer_data(answer), "readings": [reading_object(each) for each in readings]})


def note_line(reading: StoredReading, others: list[int]) -> str:
    """The reading that counts for a day, with what was noted, and the numbers of the day's other readings."""
    return line_of({**reading_object(reading), "other_readings": others})


def answer_data(answer: Answer) -> dict[str, Any]:
    """An answer as codes and numbers, and as words made now."""
    from dawnbeat.morning.answer_text import headline, lines
    from dawnbeat.morning.answering import as_json

    return {**as_json(answer), "headline": headline(answer), "words": lines(answer)}


def _content(recording: str, analysis: Analysis) -> dict[str, Any]:
    from dawnbeat.morning.reading_text import verdict_lines
    from dawnbeat.shared.reading import verdict_as_data

    intervals = analysis.intervals
    return {
        "recording": recording,
        "duration_s": round(analysis.duration_s, 6),
        "frame_rate_hz": analysis.frame_rate_hz,
        **verdict_as_data(analysis.verdict),
        "reasons": verdict_lines(analysis.verdict),
        "channel": analysis.channel,
        "beats_s": [round(beat, 6) for beat in analysis.beats.time_s.tolist()],
        "intervals_ms": [round(interval, 3) for interval in intervals.interval_ms.tolist()],
        "kept": intervals.kept.tolist(),
        "left_out": list(intervals.left_out),
        "metrics": dataclasses.asdict(analysis.metrics),
        "intervals95": {name: list(pair) for name, pair in analysis.intervals95.items()},
        "timing_error_ms": analysis.timing_error_ms,
        "version": analysis.version,
        "settings": dataclasses.asdict(analysis.settings),
    }


def reading_object(reading: StoredReading) -> dict[str, Any]:
    """One stored reading as plain values, by the names of the journal's columns, with the verdict in words."""
    from dawnbeat.journal.columns import COLUMNS
    from dawnbeat.morning.reading_text import verdict_lines
    from dawnbeat.shared.reading import findings_as_data

    found: dict[str, Any] = {"id": reading.id}
    for column in COLUMNS:
        value = column.value(reading)
        found[column.name] = value.isoformat() if isinstance(value, date) else value
    found["findings"] = findings_as_data(reading.verdict.findings)
    found["settings"] = json.loads(reading.settings_json)
    return {**found, "reasons": verdict_lines(reading.verdict)}


def run_json(each: JudgedRun) -> dict[str, Any]:
    """One run as plain values."""
    run, judged = each.run, each.judged
    return {
        "id": run.id,
        "began": run.began.isoformat(),
        **{name: value for name, value in vars(run.figures).items() if name not in ("ms_at_bpm", "minutes")},
        "zone_s": None if judged is None else judged.zone_s,
        "top_of_easy_bpm": None if judged is None else judged.top_of_easy_bpm,
        "easy_share": None if judged is None else judged.easy_share,
        "above_easy_s": None if judged is None else judged.above_s,
        "trimp": each.trimp,
        "session_load": each.session_load,
        "notes": [{"code": note.code, "value": note.value, "words": note.words} for note in run.notes],
        **{
            name: getattr(run, name)
            for name in ("felt_effort", "race", "sport", "counts", "talk", "note", "source", "format")
        },
    }


def week_json(week: Week) -> dict[str, Any]:
    """One week as plain values."""
    values = {**vars(week), "easy_runs_share": week.easy_runs_share}
    return {"monday": values.pop("first").isoformat(), **values}


def _finite(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return value
