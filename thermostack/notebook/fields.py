"""Bands of temperature as shapes: maps of a face and sections, light and sharp at any size."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from contourpy import FillType, LineType, contour_generator
from matplotlib import colormaps
from matplotlib.colors import to_hex
from numpy.typing import NDArray

from . import svg

__all__ = ["bands", "colour"]

Float = NDArray[np.float64]
SCALE = "cividis"
"""Rises in lightness all the way, and looks the same to people with any colour vision (Nuñez et al. 2018)."""


def colour(share: float) -> str:
    """Return the colour of a temperature, as a share of the way from the coldest to the hottest."""
    return str(to_hex(colormaps[SCALE](min(max(share, 0.0), 1.0))))


def bands(
    x: Float, y: Float, values: Float, levels: Sequence[float], *, lines: bool = False,
    ends: tuple[float, float] | None = None,
) -> tuple[list[str], float, float]:  # fmt: skip
    """Return filled bands between levels (or lines at them), and the ends of the scale of colours.

    Parameters
    ----------
    x, y : ndarray, shapes (n,), (m,)
        On the page.
    values : ndarray, shape (n, m)
    levels : sequence of float
    ends : pair of float, optional
        Coldest and hottest of the scale, where several pictures share it.
    """
    low, high = ends or (float(np.nanmin(values)), float(np.nanmax(values)))
    if high - low < 1e-6:
        low, high = low - 0.5, high + 0.5
    maker = contour_generator(x, y, values.T, fill_type=FillType.OuterOffset, line_type=LineType.Separate)
    made = []
    if lines:
        for level in levels:
            for points in maker.lines(level):
                made.append(svg.path(map(tuple, points), "#000", stroke_width="4", opacity="0.55"))
                made.append(svg.path(map(tuple, points), "#fff", stroke_width="1.8"))
        return made, low, high
    edges = [low - 1.0, *(v for v in levels if low < v < high), high + 1.0]
    for a, b in pairwise(edges):
        share = (0.5 * (max(a, low) + min(b, high)) - low) / (high - low)
        found: Any = maker.filled(a, b)
        for points, starts in zip(found[0], found[1], strict=True):
            rings = [points[i:j] for i, j in pairwise(starts)]
            d = "".join("M" + "L".join(f"{svg.number(px)} {svg.number(py)}" for px, py in ring) + "Z" for ring in rings)
            fill = colour(share)
            made.append(f'<path d="{d}" fill="{fill}" fill-rule="evenodd" stroke="{fill}" stroke-width="0.6"/>')
    return made, low, high
