"""Month against month and year against year."""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pytest

from dawnbeat.journal.periods import COLUMNS, by_month, by_year, cells, csv_cells
from dawnbeat.shared.morning import Morning


def mornings(first: date, days: int, ln: float, seed: int = 1, pulse: float = 50.0, **more: object) -> list[Morning]:
    rng = np.random.default_rng(seed)
    found = []
    for n in range(days):
        ln_rmssd, bpm = ln + 0.1 * rng.standard_normal(), pulse + rng.standard_normal()
        found.append(Morning(first + timedelta(days=n), ln_rmssd, bpm, "lying", 6.5, True, **more))  # type: ignore[arg-type]
    return found


def test_a_month_has_its_geometric_mean_variation_and_pulse_with_intervals() -> None:
    given = mornings(date(2026, 3, 1), 31, 4.0)
    (month,) = by_month(given)
    ln = np.array([each.ln_rmssd for each in given])
    assert month.label == "2026-03"
    assert month.rmssd_ms is not None
    assert month.rmssd_ms.value == pytest.approx(math.exp(ln.mean()))
    assert month.rmssd_ms.low < month.rmssd_ms.value < month.rmssd_ms.high
    assert month.cv_pct is not None
    assert month.cv_pct.low < 100 * ln.std(ddof=1) / ln.mean() < month.cv_pct.high
    assert month.rmssd_change_pct is None


def test_a_change_is_clear_only_where_its_interval_leaves_out_none() -> None:
    before = mornings(date(2026, 3, 1), 31, 4.0)
    same = by_month([*before, *mornings(date(2026, 4, 1), 30, 4.0, seed=2)])[1]
    fallen = by_month([*before, *mornings(date(2026, 4, 1), 30, 3.8, seed=2)])[1]
    assert same.rmssd_change_pct is not None
    assert not same.rmssd_change_pct.clear
    assert cells(same)[5].startswith("[")
    assert fallen.rmssd_change_pct is not None
    assert fallen.rmssd_change_pct.clear
    assert fallen.rmssd_change_pct.value == pytest.approx(-18, abs=4)


def test_chance_is_called_a_change_of_month_in_about_one_of_twenty() -> None:
    """Independent mornings, 300 pairs of months: at a true rate of 5 %, more than 9 % comes once in a thousand."""
    clear = 0
    for seed in range(300):
        given = mornings(date(2026, 3, 1), 31, 4.0, seed) + mornings(date(2026, 4, 1), 30, 4.0, seed + 5000)
        change = by_month(given)[1].rmssd_change_pct
        assert change is not None
        clear += change.clear
    assert clear / 300 <= 0.09


def test_ill_mornings_other_postures_and_thin_months_are_left_out_of_the_means() -> None:
    ill = mornings(date(2026, 3, 20), 5, 2.0, ill=True)
    (month,) = by_month([*mornings(date(2026, 3, 1), 10, 4.0), *ill])
    assert (month.mornings, month.compared) == (15, 10)
    assert month.rmssd_ms is not None
    assert month.rmssd_ms.value > 45
    assert by_month(mornings(date(2026, 3, 1), 4, 4.0))[0].rmssd_ms is None


def test_years_are_compared_and_a_row_has_a_cell_a_column() -> None:
    given = mornings(date(2025, 6, 1), 60, 4.0) + mornings(date(2026, 6, 1), 60, 4.3, seed=4)
    years = by_year(given)
    assert [each.label for each in years] == ["2025", "2026"]
    assert years[1].rmssd_change_pct is not None
    assert years[1].rmssd_change_pct.clear
    assert all(len(csv_cells(each)) == len(COLUMNS) for each in years)
