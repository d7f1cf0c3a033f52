"""Any reading that the journal can hold, for property tests; what a field may hold is read from its metadata."""

from __future__ import annotations

import dataclasses
import json
from datetime import datetime, timedelta, timezone
from typing import Any

from hypothesis import strategies as st

from dawnbeat.journal.columns import WITH_INTERVAL
from dawnbeat.shared.morning import POSTURES, Context, StoredReading
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
whole_metrics = {"nn50": maybe(st.integers(0, 10**6)), "kept_beats": st.integers(0, 10**6)}
metrics = st.builds(
    Metrics,
    **{
        each.name: whole_metrics.get(each.name, maybe(any_numbers if each.name == "ln_rmssd" else numbers))
        for each in dataclasses.fields(Metrics)
    },
)
findings = st.lists(st.builds(Finding, texts, st.dictionaries(texts, any_numbers))).map(tuple)
# What may not be: usable, yet irregular or without a pulse.
flags = st.sampled_from([(True, True, False), (False, True, True), (False, True, False), (False, False, False)])
verdicts = st.builds(lambda said, found: Verdict(*said, found), flags, findings)
readings = st.builds(
    StoredReading,
    id=st.just(0),
    uid=st.uuids().map(lambda uid: uid.hex),
    began=st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1), timezones=zones),
    duration_s=numbers,
    posture=st.sampled_from(POSTURES),
    camera=texts,
    frame_rate_hz=maybe(numbers),
    channel=maybe(texts.filter(bool)),
    metrics=metrics,
    intervals95=st.dictionaries(st.sampled_from(WITH_INTERVAL), st.tuples(numbers, numbers)),
    timing_error_ms=maybe(numbers),
    verdict=verdicts,
    version=texts,
    settings_json=st.dictionaries(texts, any_numbers).map(json.dumps),
    recording=maybe(st.just("recordings/2025-03-01/06-30-00")),
    picked=st.booleans(),
    context=contexts,
)
