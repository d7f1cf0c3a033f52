"""The beats of one unbroken stretch of a trace, each with how far it can be trusted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dawnbeat.shared.settings import Settings
from dawnbeat.shared.trace import CHANNELS, BoolArray, FloatArray, IntArray
from dawnbeat.signal.clock import FrameTimes
from dawnbeat.signal.colour import absorbance, mixture, single
from dawnbeat.signal.conditioning import Piece, even_grid, lowpass_for, without_flicker, without_steps, zero_phase
from dawnbeat.signal.detection import Detection, detect, repetition_of
from dawnbeat.signal.timing import curve_of, time_beats, timing_error_ms

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
