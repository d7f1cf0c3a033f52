"""Which colour, or which mixture of colours, carries the pulse.

By the law of Beer and Lambert the logarithm of brightness falls in proportion to blood volume, so that lamps and
cameras only change the scale of the wave. Red clips under a lamp and green is faint in a dim room, so nothing is
assumed: the mixture follows from what beats and noise look like in each colour of this recording.
"""

from __future__ import annotations

import numpy as np

from dawnbeat.shared.trace import CHANNELS, FloatArray
from dawnbeat.signal.detection import windows_at

PER_MILLE = 1000.0
_DARKEST = 0.5
_FEWEST_BEATS = 8
# Keeps a mixture from leaning on a fine balance between colours that noise made up.
_RIDGE = 0.5
_TO_BE_NAMED = 0.05


def absorbance(colour: FloatArray) -> FloatArray:
    """(n, 3) frame means of 0 to 255 as per mille of absorbed light: rising with blood volume."""
    return np.asarray(-PER_MILLE * np.log(np.maximum(colour, _DARKEST)))


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
