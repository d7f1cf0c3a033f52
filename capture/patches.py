"""A frame in patches: exact mean colours, how much detail each patch holds, and which a finger covers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dawnbeat.capture.frames import Image, load_cv2
from dawnbeat.shared.trace import BoolArray, FloatArray

ROWS, COLUMNS = 12, 16
PATCHES = ROWS * COLUMNS
TOP_OF_SCALE = 252
_DOWN, _ACROSS = 2, 4  # cells in each patch; sums down a column of pixels are cheap, cells are not
_CELLS = _DOWN * _ACROSS

# What passes for skin against the lens. Nothing there is in focus: brightness inside a patch follows a plane
# but for some hundredths, and colour changes little from patch to patch. Chosen on rendered scenes, no
# source.
_DETAIL_SHARE = 0.016
_GRAIN, _GRAIN_LEAST, _GRAIN_MOST = 4.5, 0.3, 2.0  # levels: of one pixel, and the limits for a cell of pixels
_HUE_STEP = 0.035
_BEND = 0.16
_BRIGHT, _BRIGHT_TINTED = 95.0, 150.0
_TINTED = 1.5
_GLARE, _GLARE_BLUE = 245.0, 0.85
_REDDER = 1.12
_LIT_THROUGH = 1.6


@dataclass(frozen=True)
class Patches:
    """One frame reduced to 12 x 16 patches.

    mean: (192, 3) red, green, blue means, exact, row by row. detail: (192,) what a plane leaves over of the
    brightness inside each patch, root mean square in levels of 255. grain: how much of it sensor noise alone
    may make, which is more where few pixels stand behind each number.
    """

    mean: FloatArray
    detail: FloatArray
    grain: float


def patches_of(image: Image) -> Patches:
    """Cut an image of blue, green, red bytes into patches; edges that don't fill a patch are left out.

    Images smaller than 16 x 12 are taken as one patch that fills the frame.
    """
    height, width = image.shape[:2]
    if height < ROWS or width < COLUMNS:
        mean = image.reshape(-1, 3).mean(axis=0)[::-1]
        return Patches(np.tile(mean, (PATCHES, 1)), np.zeros(PATCHES), _GRAIN_MOST)
    # Each pixel of a small image is repeated, which changes no mean, until there are cells enough.
    repeat = max(1, -(-4 * _DOWN * ROWS // height), -(-4 * _ACROSS * COLUMNS // width))
    if repeat > 1:
        image = np.repeat(np.repeat(image, repeat, axis=0), repeat, axis=1)
    cells = _cell_means(image, ROWS * _DOWN, COLUMNS * _ACROSS)
    blocks = cells.reshape(ROWS, _DOWN, COLUMNS, _ACROSS, 3).transpose(0, 2, 1, 3, 4)
    blocks = blocks.reshape(PATCHES, _CELLS, 3)
    light = blocks @ _LIGHT
    left_over = light @ _NO_PLANE
    detail = np.sqrt(np.einsum("ij,ij->i", left_over, left_over) / (_CELLS - 3))
    pixels = height * width / (PATCHES * _CELLS)
    return Patches(_AVERAGE @ blocks, detail, min(_GRAIN_MOST, max(_GRAIN_LEAST, _GRAIN / pixels**0.5)))


def clipped_shares(image: Image) -> FloatArray:
    """(3,) share of pixels at the top of the scale in red, green and blue, counted on a sparse grid."""
    cv2 = load_cv2()
    step = max(1, min(image.shape[0] // 60, image.shape[1] // 80))
    sparse = np.ascontiguousarray(image[step // 2 :: step, step // 2 :: step])
    at_top = cv2.threshold(sparse, TOP_OF_SCALE - 1, 1.0, cv2.THRESH_BINARY)[1]
    blue, green, red = cv2.mean(at_top)[:3]
    return np.array([red, green, blue])


def finger_patches(patches: Patches) -> BoolArray:
    """(192,) which patches look like skin against the lens.

    Judged by what such a picture can't have: detail, jumps of colour, kinks of brightness, or bright light
    that has no tint. A dim, even, colourless surface right before the lens can't be told from a finger in one
    frame; only its missing pulse gives it away.
    """
    mean = patches.mean
    light = mean @ _LIGHT
    smooth = patches.detail <= patches.grain + _DETAIL_SHARE * light
    red, other = mean[:, 0], np.maximum(mean[:, 1], mean[:, 2])
    most = np.maximum(red, other)
    tinted = (most > _TINTED * mean.min(axis=1)) & (most < _BRIGHT_TINTED)  # some cameras balance skin to green
    glare = (red > _GLARE) & (mean[:, 2] < _GLARE_BLUE * red)  # too much lamp: red and green at the top
    skin_colour = (most < _BRIGHT) | (red > _REDDER * other) | tinted | glare
    lit_through = red > _LIT_THROUGH * other
    # The small constants keep hue and ratio quiet where there is hardly any light.
    hue = (mean[:, :2] + 3.0) / (mean.sum(axis=1, keepdims=True) + 9.0)
    level = np.log(light + 6.0)
    grid = np.concatenate([hue, level[:, None]], axis=1).reshape(ROWS, COLUMNS, 3)
    padded = np.empty((ROWS + 2, COLUMNS + 2, 3))
    padded[1:-1, 1:-1] = grid
    padded[0, 1:-1], padded[-1, 1:-1] = 2 * grid[0] - grid[1], 2 * grid[-1] - grid[-2]
    padded[:, 0], padded[:, -1] = 2 * padded[:, 1] - padded[:, 2], 2 * padded[:, -2] - padded[:, -3]
    along = np.abs(padded[1:-1, :-2] + padded[1:-1, 2:] - 2 * grid)
    across = np.abs(padded[:-2, 1:-1] + padded[2:, 1:-1] - 2 * grid)
    kink = np.maximum(along, across).reshape(PATCHES, 3)
    even_hue = (np.maximum(kink[:, 0], kink[:, 1]) < _HUE_STEP) | lit_through
    candidate = smooth & skin_colour & even_hue & (kink[:, 2] < _BEND)
    return _with_company(candidate)


def skin_numbers() -> dict[str, float]:
    """Every number of this judgement by its name, for the page that judges frames on the phone."""
    return {
        "rows": ROWS,
        "columns": COLUMNS,
        "down": _DOWN,
        "across": _ACROSS,
        "top": TOP_OF_SCALE,
        "detail_share": _DETAIL_SHARE,
        "grain": _GRAIN,
        "grain_least": _GRAIN_LEAST,
        "grain_most": _GRAIN_MOST,
        "hue_step": _HUE_STEP,
        "bend": _BEND,
        "bright": _BRIGHT,
        "bright_tinted": _BRIGHT_TINTED,
        "tinted": _TINTED,
        "glare": _GLARE,
        "glare_blue": _GLARE_BLUE,
        "redder": _REDDER,
        "lit_through": _LIT_THROUGH,
    }


def eroded(mask: BoolArray) -> BoolArray:
    """The patches whose neighbours above, below, left and right are in the mask too (or off the frame)."""
    grid = mask.reshape(ROWS, COLUMNS)
    inner = grid.copy()
    inner[1:] &= grid[:-1]
    inner[:-1] &= grid[1:]
    inner[:, 1:] &= grid[:, :-1]
    inner[:, :-1] &= grid[:, 1:]
    return inner.reshape(PATCHES)


def _with_company(mask: BoolArray) -> BoolArray:
    """Majority of the 3 x 3 neighbourhood: lone patches go, lone holes fill."""
    padded = np.pad(mask.reshape(ROWS, COLUMNS).astype(np.int8), 1, mode="edge")
    rows = padded[:-2] + padded[1:-1] + padded[2:]
    votes = rows[:, :-2] + rows[:, 1:-1] + rows[:, 2:]
    company: BoolArray = (votes >= 5).reshape(PATCHES)
    return company


def _cell_means(image: Image, rows: int, columns: int) -> FloatArray:
    """(rows * columns, 3) exact red, green, blue means: whole-number sums, divided once."""
    cv2 = load_cv2()
    height, width = image.shape[0] // rows, image.shape[1] // columns
    lines = np.ascontiguousarray(image).reshape(image.shape[0], -1)
    sums = np.empty((rows, 1, lines.shape[1]), dtype=np.int32)
    for row in range(rows):
        cv2.reduce(lines[row * height : (row + 1) * height], 0, cv2.REDUCE_SUM, sums[row], cv2.CV_32S)
    by_column = sums.reshape(rows, -1, 3)[:, : columns * width]
    cells = np.add.reduceat(by_column, np.arange(columns) * width, axis=1)
    means: FloatArray = cells[:, :, ::-1] / float(width * height)
    return means


def _without_plane() -> NDArray[np.float64]:
    """(8, 8) projection of a patch's cells onto what a plane can't explain."""
    y, x = (axis.ravel() for axis in np.mgrid[0:_DOWN, 0:_ACROSS].astype(np.float64))
    plane = np.column_stack([np.ones(_CELLS), x, y])
    left: NDArray[np.float64] = np.eye(_CELLS) - plane @ np.linalg.pinv(plane)
    return left


_LIGHT = np.full(3, 1.0 / 3.0)
_AVERAGE = np.full(_CELLS, 1.0 / _CELLS)
_NO_PLANE = _without_plane()
