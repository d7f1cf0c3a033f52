"""Runs and weeks in plain words."""

from __future__ import annotations

from dawnbeat.shared.wording import Units, clock, number, pace, percent, short_day, way
from dawnbeat.training.periods import EASY_AIM, EASY_TIME_AIM, JudgedRun, Week

NO_ZONES = "No zones yet: the page Zones says what is missing."


def headline_of(each: JudgedRun, units: Units = "km") -> str:
    """Duration, distance, pace and easy share in one line."""
    figures = each.run.figures
    parts = [clock(figures.duration_s)]
    if figures.distance_m is not None:
        parts.append(f"{way(figures.distance_m, units)} {units}")
        parts.append(pace(figures.distance_m, figures.duration_s, units))
    if each.judged is not None and each.judged.easy_share is not None:
        parts.append(f"{percent(each.judged.easy_share)} easy, at or below {each.judged.top_of_easy_bpm} bpm")
    elif not each.run.has_pulse:
        parts.append("no pulse")
    if each.run.race:
        parts.append("a race")
    if not each.run.counts:
        parts.append(f"{each.run.sport}: it does not count as a run")
    return " · ".join(parts)


def figures_words(each: JudgedRun) -> list[str]:
    """The figures of one run, a statement each."""
    run, figures, judged = each.run, each.run.figures, each.judged
    said = []
    if figures.elapsed_s > figures.duration_s:
        said.append(f"{clock(figures.elapsed_s)} with pauses.")
    if run.has_pulse:
        said.append(f"Pulse: mean {number(figures.mean_bpm)} bpm, highest held {number(figures.peak_bpm)} bpm.")
        said.append(missing_words(each))
    else:
        said.append("No pulse: it counts in time, distance and rating load only.")
    if judged is not None and each.zone_set is not None:
        older = ", the first there are, as the run is older" if each.before_sets else ""
        said.append(
            f"Above the top of easy for {clock(judged.above_s)}. Zones from {short_day(each.zone_set.from_date)} "
            f"on{older}."
        )
    elif run.has_pulse:
        said.append(NO_ZONES)
    if figures.drift_pct is not None:
        said.append(f"Drift {figures.drift_pct:+.1f} % from the first half of the steady minutes to the second.")
    loads = []
    if each.trimp["men"] is not None:
        men, women = number(each.trimp["men"]), number(each.trimp["women"])
        loads.append(f"training impulse {men} with the coefficients for men, {women} with those for women")
    if each.session_load is not None:
        loads.append(f"rating load {number(each.session_load)} (rating times minutes)")
    if loads:
        said.append(f"Load: {'; '.join(loads)}.")
    said += [f"{note.words[0].upper()}{note.words[1:]}." for note in run.notes if note.code != "no pulse"]
    return said


def missing_words(each: JudgedRun) -> str:
    """How much of a run was measured, and what is missing for which reason."""
    figures = each.run.figures
    missing_s = figures.duration_s - figures.measured_s
    if missing_s < 0.5:
        return "All of it was measured."
    parts = ", ".join(f"{kind} {clock(seconds)}" for kind, seconds in figures.missing_s.items())
    share = missing_s / figures.duration_s
    return (
        f"Measured {clock(figures.measured_s)} of {clock(figures.duration_s)}; missing {clock(missing_s)} "
        f"({100 * share:.0f} %): {parts}."
    )


def week_words(week: Week, units: Units = "km") -> str:
    """A week in one line."""
    if not week.runs:
        return "no run"
    parts = [f"{week.runs} run{'' if week.runs == 1 else 's'}", clock(week.duration_s)]
    if week.distance_m is not None:
        parts.append(f"{way(week.distance_m, units, 1)} {units}{_without(week.without_distance)}")
    if week.judged_runs:
        parts.append(f"{week.easy_runs} of {week.judged_runs} easy{_around(week)}")
    if week.easy_share is not None:
        parts.append(f"{percent(week.easy_share)} of the time (aim {percent(EASY_TIME_AIM)})")
        missing_s = week.duration_s - week.measured_s
        if missing_s >= 60:
            parts.append(f"{clock(missing_s)} not measured")
    return " · ".join(parts)


def load_words(week: Week, coefficients: str) -> str:
    """The loads of a week in one line."""
    parts = []
    impulse = week.trimp["women" if coefficients == "women" else "men"]
    if impulse is not None:
        parts.append(f"training impulse {impulse:.0f}{_without(week.without_trimp)}")
    if week.session_load is not None:
        parts.append(f"rating load {week.session_load:.0f}{_without(week.unrated)}")
    if week.monotony is not None and week.strain is not None:
        parts.append(f"monotony {week.monotony:.1f}, strain {week.strain:.0f}")
    return " · ".join(parts)


def _around(week: Week) -> str:
    aim = f" (aim {percent(EASY_AIM)}"
    if week.easy_runs_range is not None:
        low, high = week.easy_runs_range
        aim += f"; eight weeks before {100 * low:.0f} to {percent(high)}"
    return f"{aim})"


def _without(count: int) -> str:
    return "" if not count else f" ({count} run{'' if count == 1 else 's'} not in it)"
