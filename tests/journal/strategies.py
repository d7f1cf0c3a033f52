"""Any reading that the journal can hold, for property tests; what a field may hold is read from its metadata."""

from __future__ import annotations

import dataclasses
import json
import math
from datetime import datetime, timedelta, timezone
from typing import Any

from hypothesis import strategies as st

from dawnbeat.journal.columns import WITH_INTERVAL
from dawnbeat.journal.csv_files import BOUNDS
from dawnbeat.shared.morning import ORIGINS, POSTURES, Context, StoredReading
from dawnbeat.shared.reading import Finding, Metrics, Verdict

# Texts that a spreadsheet could take for a formula, or that a guard could spoil.
RISKY = (
    *("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1", "＝1", "'=1", "''", "\ufeff=1"),
    *("\x7f=1", "\x1b[31m"),
)

texts = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=60) | st.sampled_from(
    RISKY
)
numbers = st.floats(min_value=0, allow_nan=False, allow_infinity=False)
any_numbers = st.floats(allow_nan=False, allow_infinity=False)


def maybe(strategy: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    """None, or one of the strategy's."""
    return st.none() | strategy


def of_field(field: dataclasses.Field[Any]) -> st.SearchStrategy[Any]:
    """Whatever a field of shared.checked_fields may hold, None included where that is its default."""
    facts = field.metadata
    if "choices" in facts:
        found = st.sampled_from(facts["choices"])
    elif "flag" in facts:
        found = st.booleans()
    elif "low" in facts:
        low, high = facts["low"], facts["high"]
        found = st.integers(low, high) if facts["whole"] else st.floats(low, high)
    else:
        found = texts
    return maybe(found) if field.default is None else found


contexts = st.builds(Context, **{each.name: of_field(each) for each in dataclasses.fields(Context)})
zones = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))


def within(unit: str) -> st.SearchStrategy[float]:
    """A number that a CSV may hold under this unit."""
    low, high = BOUNDS[unit]
    return st.floats(low, high)


def of_figure(field: dataclasses.Field[Any]) -> st.SearchStrategy[Any]:
    """Whatever a figure may be, None included where that is its default."""
    unit = field.metadata["unit"]
    found = st.integers(0, 10**6) if field.metadata["whole"] else within(unit)
    return maybe(found) if field.default is None else found


@st.composite
def figures(draw: st.DrawFn) -> dict[str, Any]:
    """Metrics, the intervals around them and a verdict that fit one another, as arguments of StoredReading."""
    metrics = draw(st.builds(Metrics, **{each.name: of_figure(each) for each in dataclasses.fields(Metrics)}))
    if metrics.rmssd_ms is None or metrics.rmssd_ms < 0.01:
        metrics = dataclasses.replace(metrics, rmssd_ms=None)
    else:
        metrics = dataclasses.replace(metrics, ln_rmssd=math.log(metrics.rmssd_ms))
    units = {each.name: each.metadata["unit"] for each in dataclasses.fields(Metrics)}
    names = draw(st.lists(st.sampled_from(WITH_INTERVAL), unique=True))
    ends = {name: sorted((draw(within(units[name])), draw(within(units[name])))) for name in names}
    verdict = draw(verdicts)
    pulse = verdict.pulse_usable and metrics.mean_hr_bpm is not None
    usable = verdict.usable and pulse and None not in (metrics.rmssd_ms, metrics.ln_rmssd)
    return {
        "metrics": metrics,
        "intervals95": {name: (low, high) for name, (low, high) in ends.items()},
        "verdict": Verdict(usable, pulse, verdict.irregular and not usable, verdict.findings),
    }


findings = st.lists(st.builds(Finding, texts, st.dictionaries(texts, any_numbers))).map(tuple)
# What may not be: usable, yet irregular or without a pulse.
flags = st.sampled_from([(True, True, False), (False, True, True), (False, True, False), (False, False, False)])
verdicts = st.builds(lambda said, found: Verdict(*said, found), flags, findings)
readings = st.builds(
    lambda figures, **told: StoredReading(**told, **figures),
    figures=figures(),
    id=st.just(0),
    uid=st.uuids().map(lambda uid: uid.hex),
    began=st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1), timezones=zones),
    duration_s=within("s"),
    posture=st.sampled_from(POSTURES),
    camera=texts,
    frame_rate_hz=maybe(within("1/s")),
    channel=maybe(texts.filter(bool)),
    timing_error_ms=maybe(within("ms")),
    version=texts,
    settings_json=st.dictionaries(texts, any_numbers).map(json.dumps),
    recording=maybe(st.just("recordings/2025-03-01/06-30-00")),
    picked=st.booleans(),
    context=contexts,
    origin=st.sampled_from(ORIGINS),
    answer=maybe(st.dictionaries(texts, maybe(any_numbers | texts))),
)
