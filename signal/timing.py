"""When each beat came, to a fraction of a frame.

Each beat's edge is laid over the recording's own median edge by least squares: height, level, slope of the
baseline and shift in time. The steepest part of the rising edge is the mark that two hands share and that
keeps its place when the crest changes (Peláez-Coca et al., IEEE J Biomed Health Inform 26, 2022, found the
middle of the rising edge most accurate of five marks).

The edge is what two hands share; the whole beat, laid over the median beat in the same way, lies nearer to the heart's
own: where an electrocardiogram ran along, RMSSD by whole beats was 1.06 to 1.10 times the heart's and by edges 1.09 to
1.17. Both hold the heart's intervals alike, so whichever makes them steadier adds less of its own. Each beat therefore
moves a fifth of the way from where its edge lies to where the whole beat does, and further the more the intervals of
the edges are the restless ones.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.interpolate import CubicSpline

from dawnbeat.shared.trace import FloatArray
from dawnbeat.signal.conditioning import running_median
from dawnbeat.signal.detection import windows_at

_STEP_S = 1.0 / 60.0
_ROUNDS = 2
# A first guess that is further off than this isn't this beat's edge.
_FURTHEST_S = 0.06
_COEFFICIENTS = 4
_PRIOR_FREEDOM = 8.0
# Median of the square of a standard normal value.
_MEDIAN_OF_SQUARES = 0.4549
_MEDIAN_TO_SD = 1.4826
_FEWEST_ELSEWHERE = 20
# Beats of about the same length, whose mean says what a beat looks like.
_ALIKE = 10


@dataclass(frozen=True)
class FittedEdges:
    """Beats laid over their median edge.

    time_s: (k,) refined times, in seconds from the first sample. height: (k,) height of each edge in units of the
    wave. misfit: (k,) root mean square of what the fit leaves, same units. solve_norm: how much noise of one point
    shifts an edge of height one, in seconds. points: points of the edge that were compared.
    """

    time_s: FloatArray
    height: FloatArray
    misfit: FloatArray
    solve_norm: float
    points: int


# Of the way from the edge's time to the whole beat's: at the least, and how it grows with what the edges' intervals are
# restless beyond a small excess that chance makes.
_LEAST_SHARE, _SHARE_PER_EXCESS, _EXCESS_BY_CHANCE = 0.2, 10.0, 0.06
_FEWEST_WHOLE_BEATS = 12
# Times further apart are not of one beat: its wave was disturbed after the edge.
_FURTHEST_APART_S = 0.03
# Differences this many times the usual say more of odd beats than of timing.
_ODD = 4.0


def curve_of(wave: FloatArray, rate_hz: float) -> CubicSpline:
    """The wave between its samples; (n,) low-passed only, since a high-pass smears one beat into the next."""
    return CubicSpline(np.arange(wave.size) / rate_hz, wave)


def time_beats(
    curve: CubicSpline,
    guess_s: FloatArray,
    edge_s: tuple[float, float],
    whole_s: tuple[float, float],
    length_s: float,
) -> FittedEdges:
    """Time each beat by its edge, moved towards the time of the whole beat.

    edge_s, whole_s: how long before and after a beat its edge and its whole are compared. length_s: of the curve. The
    rest as in `align`; height, misfit and noise are the edges'.
    """
    edges = align(curve, guess_s, *edge_s)
    fits = (edges.time_s > whole_s[0] + _FURTHEST_S) & (edges.time_s < length_s - whole_s[1] - _FURTHEST_S)
    if fits.sum() < _FEWEST_WHOLE_BEATS:
        return edges
    whole = align(curve, edges.time_s[fits], *whole_s, rounds=1)
    # The two have marks of their own; what counts is how they differ from beat to beat.
    apart_s = whole.time_s - edges.time_s[fits]
    apart_s -= np.median(apart_s)
    apart_s[np.abs(apart_s) > _FURTHEST_APART_S] = 0.0
    time_s = edges.time_s.copy()
    time_s[fits] += _share_of_whole(time_s[fits], apart_s) * apart_s
    return replace(edges, time_s=time_s)


def _share_of_whole(edge_s: FloatArray, apart_s: FloatArray) -> float:
    """How far to go from the edges' times towards the whole beats', 0 to 1."""
    change = np.abs(np.diff([edge_s, edge_s + apart_s], n=2, axis=1))
    usual = (change < _ODD * np.median(change, axis=1, keepdims=True)).all(axis=0)
    by_edge, by_whole = np.sqrt(np.mean(change[:, usual] ** 2, axis=1)) if usual.any() else (1.0, 1.0)
    excess = by_edge / max(by_whole, 1e-9) - 1.0 - _EXCESS_BY_CHANCE
    return float(np.clip(_LEAST_SHARE + _SHARE_PER_EXCESS * max(excess, 0.0), 0.0, 1.0))


def align(
    curve: CubicSpline, guess_s: FloatArray, before_s: float, after_s: float, rounds: int = _ROUNDS
) -> FittedEdges:
    """Lay each edge over the median edge, with the steepest point of the median edge as the beat's moment.

    curve: the wave, as `curve_of` makes it. guess_s: (k,) k >= 1, in seconds from the first sample. Edges are
    compared from before_s before to after_s after the beat.
    """
    offset_s = np.arange(-before_s, after_s + _STEP_S / 2, _STEP_S)
    drift = np.stack([np.ones_like(offset_s), offset_s], axis=1)
    time_s = guess_s.copy()
    rows = curve(time_s[:, None] + offset_s)
    fit = np.stack([np.ptp(rows, axis=1), np.zeros_like(time_s), rows.mean(axis=1), np.zeros_like(time_s)])
    slope, inner_slope, inner_s = _slopes(offset_s.size)
    for _ in range(rounds):
        # Anchored at its steepest point, the median edge means the same in every block and recording.
        steepest = int(np.argmax(inner_slope @ _median_edge(rows, fit, drift)))
        time_s = time_s + offset_s[0] + inner_s[steepest]
        rows = curve(time_s[:, None] + offset_s)
        edge = _median_edge(rows, fit, drift)
        basis = np.column_stack([edge, slope @ edge, drift])
        solve, expected = _shrunken_solution(basis, rows)
        fit = expected + solve @ (rows.T - basis @ expected)
        # An edge seen s too late looks like edge + s * its slope, so the weight of the slope gives the shift.
        shift_s = fit[1] / _away_from_zero(fit[0])
        time_s = np.clip(time_s - shift_s, guess_s - _FURTHEST_S, guess_s + _FURTHEST_S)
        rows = curve(time_s[:, None] + offset_s)
    fit = expected + solve @ (rows.T - basis @ expected)
    misfit = np.sqrt(np.mean((rows.T - basis @ fit) ** 2, axis=0))
    return FittedEdges(time_s, fit[0], misfit, float(np.linalg.norm(solve[1])), offset_s.size)


def _shrunken_solution(basis: FloatArray, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least squares that leans on what heights and drifts usually are.

    Fitted freely, height and drift take up much of what tells of a shift, and the noise of three coefficients ends in
    the time. How far they really differ from beat to beat is their spread less what noise explains (empirical Bayes;
    Efron and Morris 1975, J Am Stat Assoc 70:311-319): where noise explains it all, they are held at the usual.
    Returns (4, m) the solution for the deviation from (4, k) the expected coefficients.
    """
    free = np.linalg.pinv(basis)
    fit = free @ rows.T
    height = float(_away_from_zero(np.array([np.median(fit[0])]))[0])
    residual = (rows.T - basis @ fit) / height
    noise = float(np.median(residual**2)) / _MEDIAN_OF_SQUARES * basis.shape[0] / (basis.shape[0] - _COEFFICIENTS)
    noise = max(noise, 1e-12)
    spread = noise * np.diag(free @ free.T)
    usual = np.stack([_usual_height(fit[0] / height), np.full(rows.shape[0], np.median(fit[3]) / height)])
    lean = np.zeros(_COEFFICIENTS)
    for row, expected in zip((0, 3), usual, strict=True):
        seen = (np.median(np.abs(fit[row] / height - expected)) * 1.4826) ** 2
        lean[row] = noise / max(seen - spread[row], 0.05 * spread[row], 1e-9)
    # The last term only matters where an edge is flat and the equations say nothing.
    solve: FloatArray = np.linalg.solve(basis.T @ basis + np.diag(lean) + 1e-9 * np.eye(_COEFFICIENTS), basis.T).astype(
        np.float64
    )
    expected = np.zeros_like(fit)
    expected[0], expected[3] = usual * height
    return solve, expected


def _median_edge(rows: FloatArray, fit: FloatArray, drift: FloatArray) -> FloatArray:
    level = (drift @ fit[2:]).T
    edge = np.median((rows - level) / _away_from_zero(fit[0])[:, None], axis=0)
    return np.asarray(edge / max(float(np.ptp(edge)), 1e-12))


@lru_cache(maxsize=64)
def _slopes(points: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What to multiply the points of an edge by for the slope of the spline through them.

    At the points themselves, (p, p); at 401 places inside, (401, p); and these places, in seconds from the first point.
    """
    at_s = np.arange(points) * _STEP_S
    spline = CubicSpline(at_s, np.eye(points))
    inner_s = np.linspace(0.0, at_s[-1], 501)[50:-50]
    return spline(at_s, 1), spline(inner_s, 1), inner_s


def _usual_height(value: FloatArray) -> FloatArray:
    if value.size < 11:
        return np.full(value.size, np.median(value))
    return running_median(value, 11, mirrored=False)


def _away_from_zero(height: FloatArray) -> FloatArray:
    return np.where(np.abs(height) < 1e-9, 1e-9, height)


@dataclass(frozen=True)
class WarpedBeats:
    """What beats leave when each was laid over the median beat, and what a warp of time would leave of them.

    at_s: (k, p) the clock's time of each point. left: (k, p) in units of each beat's height. slope: (p,) of the median
    beat, a second. rest: (p, p) what a row is multiplied by to lose all that height, shift and drift explain.
    """

    at_s: FloatArray
    left: FloatArray
    slope: FloatArray
    rest: FloatArray


def warped_beats(
    curve: CubicSpline, beat_s: FloatArray, before_s: float, after_s: float, start_s: float
) -> WarpedBeats:
    """The rows of (k,) beats that were timed on a curve, as in `align`. start_s: of the curve, on the clock."""
    offset_s = np.arange(-before_s, after_s + _STEP_S / 2, _STEP_S)
    if not beat_s.size:
        none = np.zeros((0, offset_s.size))
        return WarpedBeats(none, none, np.zeros(offset_s.size), np.eye(offset_s.size))
    drift = np.stack([np.ones_like(offset_s), offset_s], axis=1)
    rows = curve(beat_s[:, None] + offset_s)
    fit = np.stack([np.ptp(rows, axis=1), np.zeros_like(beat_s), rows.mean(axis=1), np.zeros_like(beat_s)])
    slope = _slopes(offset_s.size)[0]
    for _ in range(_ROUNDS):
        beat = _median_edge(rows, fit, drift)
        basis = np.column_stack([beat, slope @ beat, drift])
        explained = np.linalg.pinv(basis)
        fit = explained @ rows.T
    rest = np.eye(offset_s.size) - basis @ explained
    left = (rows / _away_from_zero(fit[0])[:, None]) @ rest
    return WarpedBeats(start_s + beat_s[:, None] + offset_s, left, slope @ beat, rest)


def timing_error_ms(edges: FittedEdges, frame_rate_hz: float, lowpass_hz: float) -> FloatArray:
    """(k,) standard deviation of each beat's time that the noise left by the fit causes, in milliseconds.

    The usual error of a least-squares coefficient, with as many independent values as the band of the wave carries:
    two a second for each hertz below its cut-off, and no more than there were frames (the grid is finer). One edge
    has few values to judge its noise by, so each beat's own noise is drawn towards the recording's.
    """
    values = edges.points * _STEP_S * min(frame_rate_hz, 2.0 * lowpass_hz)
    freedom = max(values - _COEFFICIENTS, 1.0)
    noise = edges.misfit**2 * values / freedom
    common = float(np.median(noise)) / _median_of_chi_square(freedom)
    noise = (freedom * noise + _PRIOR_FREEDOM * common) / (freedom + _PRIOR_FREEDOM)
    shift_s = np.sqrt(noise * edges.points / values) * edges.solve_norm / np.maximum(np.abs(edges.height), 1e-9)
    return np.asarray(1000.0 * shift_s)


def _median_of_chi_square(freedom: float) -> float:
    """Median of chi-square over its freedom (Wilson and Hilferty 1931, Proc Natl Acad Sci 17:684-688)."""
    return float((1.0 - 2.0 / (9.0 * freedom)) ** 3)


def timing_elsewhere_ms(
    wave: FloatArray, rate_hz: float, beat_s: FloatArray, before_s: float, after_s: float
) -> float | None:
    """Standard deviation of the shift that the fit finds where there is no edge; None for fewer than 20 beats.

    wave: (n,) as beats are timed on. beat_s: (k,) in seconds from the first sample. The formula for a beat's error
    takes noise for white. Drift, wandering light, blocks of compressed pictures and a second wave are not, and hide in
    the coefficients of the fit. So the usual beat is taken out of each, and the fit is tried on what is left all along
    the beat.
    """
    steps_s = np.diff(beat_s)
    usual_s = float(np.median(steps_s)) if steps_s.size else 0.0
    whole = (steps_s > 0.6 * usual_s) & (steps_s < 1.5 * usual_s)
    if whole.sum() < _FEWEST_ELSEWHERE:
        return None
    points = round((before_s + after_s) / _STEP_S) + 1
    offset_s = np.arange(-before_s, float(np.percentile(steps_s[whole], 30)), _STEP_S)
    if offset_s.size < points:
        return None
    rows = windows_at(wave, rate_hz, beat_s[:-1][whole], offset_s)[np.argsort(steps_s[whole])]
    left = unexplained(rows)
    edge = np.median(rows[:, :points] - rows[:, :points].mean(axis=1, keepdims=True), axis=0)
    basis = np.column_stack([edge, np.gradient(edge, _STEP_S), np.ones(points), offset_s[:points]])
    shift = np.linalg.pinv(basis)[1]
    found_s = np.stack([left[:, at : at + points] @ shift for at in range(0, offset_s.size - points + 1, 3)])
    spread_s = _MEDIAN_TO_SD * np.median(np.abs(found_s - np.median(found_s, axis=1, keepdims=True)), axis=1)
    return 1000.0 * float(np.median(spread_s))


def unexplained(rows: FloatArray) -> FloatArray:
    """(k, m) what the mean of ten neighbours, scaled to each row, leaves of it; rows are sorted by likeness."""
    rows = rows - rows.mean(axis=1, keepdims=True)
    size = min(_ALIKE, rows.shape[0] - 1)
    sums = np.cumsum(np.vstack([np.zeros(rows.shape[1]), rows]), axis=0)
    low = np.clip(np.arange(rows.shape[0]) - size // 2, 0, rows.shape[0] - size - 1)
    like = (sums[low + size + 1] - sums[low] - rows) / size
    scale = (rows * like).sum(axis=1) / np.maximum((like**2).sum(axis=1), 1e-12)
    return np.asarray(rows - scale[:, None] * like)
