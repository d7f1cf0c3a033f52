"""Zones, sets and their differences in plain words."""

from __future__ import annotations

from collections.abc import Sequence

from dawnbeat.training.zone_store import Standing
from dawnbeat.training.zones import Compared, Zone


def span_words(zone: Zone) -> str:
    """The pulses of a zone, without the unit."""
    if zone.low_bpm is None:
        return f"up to {zone.high_bpm}"
    return f"{zone.low_bpm} and above" if zone.high_bpm is None else f"{zone.low_bpm} to {zone.high_bpm}"


def share_words(zone: Zone) -> str:
    """The shares of a zone in per cent."""
    if zone.from_pct is None:
        return f"up to {zone.to_pct:g} %"
    return f"over {zone.from_pct:g} %" if zone.to_pct is None else f"{zone.from_pct:g} to {zone.to_pct:g} %"


def apart_words(compared: Sequence[Compared]) -> str:
    """How far the tops of easy lie apart; empty where only one method can say."""
    tops = [each.zones.top_of_easy_bpm for each in compared if each.zones is not None]
    if len(tops) < 2:
        return ""
    spread = max(tops) - min(tops)
    if not spread:
        return f"All {len(tops)} methods put the top of easy at {tops[0]} bpm."
    return (
        f"The methods put the top of easy between {min(tops)} and {max(tops)} bpm, {spread} beats apart. "
        "The talk test settles it."
    )


def why_words(known: Standing, entered_resting_bpm: float | None, kept_resting_bpm: float | None) -> str:
    """One line that says what a set of zones rests on.

    entered_resting_bpm: typed by the runner; kept_resting_bpm: taken over from the set before; else the journal's.
    """
    parts = []
    if entered_resting_bpm is not None:
        parts.append(f"resting pulse {entered_resting_bpm:.0f} bpm, entered")
    elif kept_resting_bpm is not None:
        parts.append(f"resting pulse {kept_resting_bpm:.0f} bpm as before")
    elif known.resting is not None:
        parts.append(f"resting pulse {known.resting.label}")
    if known.maximum is not None:
        parts.append(f"maximum {known.maximum.label}")
    if known.threshold is not None:
        parts.append(f"threshold pulse {known.threshold.bpm:.0f} bpm of {known.threshold.date.isoformat()}")
    return "; ".join(parts)
