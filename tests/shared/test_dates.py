from __future__ import annotations

from datetime import date

from dawnbeat.shared.dates import short_day, span


def test_a_day_in_a_sentence_has_its_month_in_letters_and_its_year() -> None:
    assert short_day(date(2026, 11, 12)) == "12 November 2026"


def test_a_span_says_a_common_year_once() -> None:
    assert span(date(2026, 10, 29), date(2026, 11, 18)) == "29 October to 18 November 2026"
    assert span(date(2025, 12, 29), date(2026, 1, 4)) == "29 December 2025 to 4 January 2026"
