"""The beats of one unbroken stretch of a trace, each with how far it can be trusted.

By the law of Beer and Lambert the logarithm of brightness falls in proportion to blood volume, so that lamps and
cameras only change the scale of the wave. Red clips under a lamp and green is faint in a dim room, so nothing is
assumed: the mixture follows from what beats and noise look like in each colour of this recording.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import CHANNELS, BoolArray, FloatArray, IntArray
from dawnbeat.signal.clock import FrameTimes
from dawnbeat.signal.conditioning import Piece, even_grid, lowpass_for, without_flicker, without_steps, zero_phase
from dawnbeat.signal.detection import Detection, detect, repetition_of, windows_at
from dawnbeat.signal.timing import curve_of, time_beats, timing_error_ms

PER_MILLE = 1000.0
_DARKEST = 0.5
_FEWEST_BEATS = 8
# Keeps a mixture from leaning on a fine balance between colours that noise made up.
_RIDGE = 0.5
_TO_BE_NAMED = 0.05


def absorbance(colour: FloatArray) -> FloatArray:
    """(n, 3) frame means of 0 to 255 as per mille of absorbed light: rising with blood volume."""
    return np.asarray(-PER_MILLE * np.log(np.maximum(colour, _DARKEST)))


def level_of(absorbed: FloatArray) -> FloatArray:
    """Brightness, 0 to 255, of what `absorbance` made."""
    return np.asarray(np.exp(-absorbed / PER_MILLE))


def single(channel: str) -> FloatArray:
    """(3,) the weights that take one colour alone."""
    return np.array([1.0 if name == channel else 0.0 for name in CHANNELS])


def mixture(waves: FloatArray, rate_hz: float, frame_rate_hz: float, beat_s: FloatArray, main: int) -> FloatArray:
    """Weights of the colours that time beats best: those of the best linear combination for a known edge.

    waves: (n, 3) low-passed. beat_s: (k,) beats in seconds from the first sample. main: the colour in which they
    were found. With edges of slopes a and noise of covariance S between the colours, the best weights are S^-1 a.
    Returns (3,) with absolute values that sum to one; the main colour alone where beats are too few.
    """
    if beat_s.size < _FEWEST_BEATS:
        return single(CHANNELS[main])
    reach_s = max(1.0, 7.5 / frame_rate_hz / 0.25)
    offset_s = np.arange(-0.10 * reach_s, 0.15 * reach_s, 1.0 / rate_hz)
    slopes = np.zeros(3)
    leftovers = []
    main_slope: FloatArray | None = None
    for channel in [main, *[other for other in range(3) if other != main]]:
        rows = windows_at(waves[:, channel], rate_hz, beat_s, offset_s)
        edge = np.median(rows - rows.mean(axis=1, keepdims=True), axis=0)
        basis = np.column_stack([edge, np.ones_like(offset_s), offset_s])
        if not np.ptp(edge) > 0:
            leftovers.append((channel, np.zeros_like(rows)))
            continue
        leftovers.append((channel, rows - (basis @ (np.linalg.pinv(basis) @ rows.T)).T))
        slope = np.gradient(edge)
        main_slope = slope if main_slope is None else main_slope
        slopes[channel] = np.linalg.norm(slope) * np.sign(float(slope @ main_slope))
    noise = np.stack([rows for _, rows in sorted(leftovers, key=lambda item: item[0])], axis=2)
    energy = (noise**2).sum(axis=1)
    calm = (energy <= 3.0 * np.median(energy, axis=0) + 1e-12).all(axis=1)
    if calm.sum() < _FEWEST_BEATS:
        return single(CHANNELS[main])
    # Second differences from frame to frame leave the noise of the camera and take out how beats differ in shape,
    # which all colours share.
    step = max(1, round(rate_hz / frame_rate_hz))
    flat = (noise[calm][:, 2 * step :] - 2.0 * noise[calm][:, step:-step] + noise[calm][:, : -2 * step]).reshape(-1, 3)
    covariance = flat.T @ flat / flat.shape[0]
    scale = np.diag(covariance).copy()
    # A clipped or constant colour has no noise and no pulse; it must not look like a perfect one.
    usable = (scale > 0) & (slopes != 0)
    if not usable[main]:
        return single(CHANNELS[main])
    covariance[np.diag_indices(3)] += _RIDGE * scale + np.where(usable, 0.0, 1e12)
    weights = np.linalg.solve(covariance, np.where(usable, slopes, 0.0))
    return np.asarray(weights / np.abs(weights).sum())


def describe(weights: FloatArray) -> str:
    """The weights in words: one colour's name, or a mixture with its shares in percent."""
    shares = [(name, float(weight)) for name, weight in zip(CHANNELS, weights, strict=True)]
    named = [(name, share) for name, share in shares if abs(share) >= _TO_BE_NAMED]
    if len(named) == 1:
        return named[0][0]
    return "mix of " + ", ".join(f"{name} {100 * share:.0f} %" for name, share in named)


# A pulse changes its shape over many minutes; beats of about two are compared with one median edge.
_BLOCK_S = 120.0
_FEWEST_FRAMES_AN_EDGE = 7.5
# Where the mixture differs this little from the first colour, looking for beats again finds the same ones.
_SAME_WAVE = 0.98
_FLAT_PER_MILLE = 0.002
_FLAT_BESIDE_FLICKER = 0.1


@dataclass(frozen=True)
class PieceBeats:
    """Beats of one stretch; arrays are (k,) unless said otherwise.

    time_s: on the trace's clock. error_ms, likeness: as in Beats. height: of the edge, per mille. misfit: of the
    edge's fit, per mille. jolt: True where brightness jumped during the edge. frames: how many came from each beat
    to the next; the last beat has no next and counts all. weights: (3,) of the colours.
    wave_s, wave: (n,) the filtered wave on the trace's clock, per mille. level: (n,) what it was filtered from, jumps
    levelled. colours: (n, 3) each colour below the upper cut-off, on which beats are timed. before_s, after_s: the
    window in which edges are compared. detection: what was chosen from. frame_rate_hz: of the stretch. times: of all
    frames of the trace.
    """

    time_s: FloatArray
    error_ms: FloatArray
    likeness: FloatArray
    height: FloatArray
    misfit: FloatArray
    jolt: BoolArray
    frames: IntArray
    weights: FloatArray
    wave_s: FloatArray
    wave: FloatArray
    level: FloatArray
    colours: FloatArray
    before_s: float
    after_s: float
    detection: Detection
    frame_rate_hz: float
    times: FrameTimes


def beats_of_piece(time_s: FloatArray, colour: FloatArray, settings: Settings, times: FrameTimes) -> PieceBeats:
    """Find and time the beats of one stretch.

    time_s: (n,) without a gap, at least two seconds. colour: (n, 3) frame means, 0 to 255. times: of all frames.
    """
    level, jumped = without_steps(time_s, absorbance(colour))
    piece = even_grid(time_s, level)
    rate_hz = piece.rate_hz
    value = without_flicker(piece.value, rate_hz, piece.frame_rate_hz)
    band = zero_phase(value, rate_hz, settings.highpass_hz, lowpass_for(piece.frame_rate_hz, settings.lowpass_hz))
    timing_lowpass_hz = lowpass_for(piece.frame_rate_hz, settings.timing_lowpass_hz)
    low = zero_phase(value, rate_hz, None, timing_lowpass_hz)
    # Below this a wave is rounding, of the sums of pixels or of the digits in a file, or what a filter left of a
    # flicker: a flat line with a rhythm.
    flat = np.maximum(_FLAT_PER_MILLE, _FLAT_BESIDE_FLICKER * (piece.value - value).std(axis=0))
    band[:, band.std(axis=0) < flat] = 0.0
    weights, found = _choose_colour(band, low, piece, settings)
    before_s, after_s = edge_window(settings, piece.frame_rate_hz, float(np.median(found.repetition.period_s)))
    whole_s = whole_window(settings, float(np.median(found.repetition.period_s)))
    length_s = (band.shape[0] - 1) / rate_hz
    inside = (found.beat_s > before_s) & (found.beat_s < length_s - after_s)
    guess_s = found.beat_s[inside]
    likeness = found.likeness[inside]
    curve = curve_of(low @ weights, rate_hz)
    columns = np.zeros((4, guess_s.size))
    for part in np.array_split(np.arange(guess_s.size), max(1, round(length_s / _BLOCK_S))):
        if part.size:
            edges = time_beats(curve, guess_s[part], (before_s, after_s), whole_s, length_s)
            error_ms = timing_error_ms(edges, piece.frame_rate_hz, timing_lowpass_hz)
            columns[:, part] = edges.time_s, error_ms, edges.height, edges.misfit
    beat_s, error_ms, height, misfit = columns
    jump_s = time_s[jumped] - piece.start_s
    near = np.searchsorted(jump_s, beat_s + after_s + 0.1) > np.searchsorted(jump_s, beat_s - before_s - 0.1)
    return PieceBeats(
        time_s=beat_s + piece.start_s,
        error_ms=error_ms,
        likeness=likeness,
        height=height,
        misfit=misfit,
        jolt=near,
        frames=np.append(np.diff(np.searchsorted(time_s, beat_s + piece.start_s)), time_s.size),
        weights=weights,
        wave_s=piece.time_s,
        wave=band @ weights,
        level=piece.value @ weights,
        colours=low,
        before_s=before_s,
        after_s=after_s,
        detection=found,
        frame_rate_hz=piece.frame_rate_hz,
        times=times,
    )


def edge_window(settings: Settings, frame_rate_hz: float, period_s: float) -> tuple[float, float]:
    """How long before and after a beat its edge is compared, in seconds.

    Wider where frames are few, since an edge needs some to be fitted; narrower where the next beat is near.
    """
    before_s, after_s = settings.edge_before_ms / 1000.0, settings.edge_after_ms / 1000.0
    stretch = max(1.0, _FEWEST_FRAMES_AN_EDGE / frame_rate_hz / (before_s + after_s))
    stretch = min(stretch, 0.7 * period_s / (before_s + after_s))
    return before_s * stretch, after_s * stretch


def whole_window(settings: Settings, period_s: float) -> tuple[float, float]:
    """How long before and after a beat its whole wave is compared, in seconds; narrower where the next beat is near."""
    before_s, after_s = settings.whole_before_ms / 1000.0, settings.whole_after_ms / 1000.0
    stretch = min(1.0, 0.7 * period_s / (before_s + after_s))
    return before_s * stretch, after_s * stretch


def _choose_colour(band: FloatArray, low: FloatArray, piece: Piece, settings: Settings) -> tuple[FloatArray, Detection]:
    """The weights of the colours, and the beats in that mixture; (n, 3) band-passed and low-passed waves."""
    rate_hz = piece.rate_hz
    if settings.channel != "auto":
        weights = single(settings.channel)
        return weights, detect(band @ weights, rate_hz, settings)
    repeats = [repetition_of(band[:, channel], rate_hz, settings) for channel in range(len(CHANNELS))]
    main = int(np.argmax([np.median(one.strength) for one in repeats]))
    found = detect(band[:, main], rate_hz, settings, repeats[main])
    weights = mixture(low, rate_hz, piece.frame_rate_hz, found.beat_s, main)
    mixed = band @ weights
    if not _is_same_wave(mixed, band[:, main]):
        found = detect(mixed, rate_hz, settings)
    return weights, found


def _is_same_wave(one: FloatArray, other: FloatArray) -> bool:
    """Whether two band-passed waves, which have no mean, are alike but for their size; flat ones are."""
    scale = float(np.linalg.norm(one) * np.linalg.norm(other))
    return scale == 0.0 or float(one @ other) >= _SAME_WAVE * scale
