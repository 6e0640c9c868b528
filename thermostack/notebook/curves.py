"""Pictures of a sweep: the junction over one input or two, where one is now, and where a goal is met."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from . import svg
from .fields import bands, colour

__all__ = ["curve", "plane"]

Float = NDArray[np.float64]
WIDTH, HEIGHT = 600.0, 330.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 14.0, 14.0, 48.0


class Axis:
    """From a value to a place on the page, with round ticks."""

    def __init__(self, low: float, high: float, ends: tuple[float, float], logarithmic: bool = False) -> None:
        self.low, self.high, self.ends, self.logarithmic = low, high, ends, logarithmic

    def __call__(self, value: float) -> float:
        low, high = self.low, self.high
        if self.logarithmic:
            low, high, value = math.log(low), math.log(high), math.log(max(value, 1e-300))
        share = (value - low) / (high - low) if high > low else 0.5
        return self.ends[0] + share * (self.ends[1] - self.ends[0])

    def ticks(self, most: int) -> Sequence[float]:
        """Return round numbers along the axis."""
        return svg.ticks(self.low, self.high, most, logarithmic=self.logarithmic)


def frame(x: Axis, y: Axis, x_label: str, y_label: str) -> list[str]:
    """Return grid, ticks and labels of axes."""
    (left, right), (bottom, top) = x.ends, y.ends
    made = []
    for tick in x.ticks(7):
        made.append(svg.line(x(tick), top, x(tick), bottom + 5, "var(--tst-rule)", stroke_width="1"))
        made.append(svg.label(x(tick), bottom + 18, f"{tick:g}", "middle", class_="soft"))
    for tick in y.ticks(6):
        made.append(svg.line(left - 5, y(tick), right, y(tick), "var(--tst-rule)", stroke_width="1"))
        made.append(svg.label(left - 9, y(tick) + 4, f"{tick:g}".replace("-", "−"), "end", class_="soft"))
    made.append(svg.label((left + right) / 2, bottom + 38, x_label, "middle", 13))
    made.append(svg.label(13, (top + bottom) / 2, y_label, "middle", 13,
                          transform=f"rotate(-90 13 {svg.number((top + bottom) / 2)})"))  # fmt: skip
    return made


def curve(
    at: Float, values: Float, *, x_label: str, y_label: str, name: str, logarithmic: bool = False,
    now: tuple[float, float] | None = None, level: tuple[float, str] | None = None, met: Sequence[float] = (),
    band: tuple[Float, Float, Float] | None = None, faint: bool = False,
) -> str:  # fmt: skip
    """Return a curve over one input.

    Parameters
    ----------
    at, values : ndarray, shape (n,)
        As shown.
    now : pair of float, optional
        Where the input is, and the answer there.
    level : (float, str), optional
        A horizontal line and what it is.
    met : sequence of float
        Where the goal is just met.
    band : three ndarrays, shape (m,), optional
        Places, low and high ends of the coverage interval.
    faint : bool
        The curve is being worked out anew.
    """
    every = [*values, *([now[1]] if now else []), *([level[0]] if level else []), *(np.ravel(band[1:]) if band else [])]
    finite = [float(v) for v in every if math.isfinite(v)]
    low, high = min(finite), max(finite)
    room = max(0.06 * (high - low), 0.25)
    x = Axis(float(min(at)), float(max(at)), (LEFT, WIDTH - RIGHT), logarithmic)
    y = Axis(low - room, high + room, (HEIGHT - BOTTOM, TOP))
    body = frame(x, y, x_label, y_label)
    if band is not None:
        there = [(x(a), y(v)) for a, v in zip(band[0], band[1], strict=True)]
        back = [(x(a), y(v)) for a, v in zip(band[0][::-1], band[2][::-1], strict=True)]
        body.append(svg.area(there + back, "var(--tst-accent)", opacity="0.18"))
    if level is not None:
        body.append(svg.line(LEFT, y(level[0]), WIDTH - RIGHT, y(level[0]), stroke_dasharray="7 4", stroke_width="1.4"))
        body.append(svg.label(WIDTH - RIGHT - 4, y(level[0]) - 6, level[1], "end", 12))
    points = [(x(a), y(v)) for a, v in zip(at, values, strict=True)]
    body.append(svg.path(points, "var(--tst-accent)", stroke_width="2.6", opacity="0.35" if faint else "1"))
    for place in met:
        body.append(svg.line(x(place), TOP, x(place), HEIGHT - BOTTOM, stroke_width="1.4", stroke_dasharray="2 3"))
        body.append(svg.label(x(place) + 5, TOP + 12, f"{place:.3g}", size=12))
    if now is not None and min(at) * 0.999 <= now[0] <= max(at) * 1.001:
        px, py = x(now[0]), y(now[1])
        body.append(svg.line(px, HEIGHT - BOTTOM, px, py, stroke_width="1"))
        body.append(svg.dot(px, py, 6.0))
        anchor, shift = ("end", -11) if px > WIDTH * 0.7 else ("start", 11)
        body.append(svg.label(px + shift, py - 9, f"now {now[1]:.1f}", anchor, 13, font_weight="600"))
    return svg.picture(WIDTH, HEIGHT, name, body)


def plane(
    at: Float, at_2: Float, values: Float, *, x_label: str, y_label: str, name: str, logarithmic: tuple[bool, bool],
    now: tuple[float, float] | None = None, level: float | None = None,
) -> str:  # fmt: skip
    """Return the junction over two inputs: bands of temperature, the line of a goal, and where one is now.

    Parameters
    ----------
    at, at_2 : ndarray, shapes (n,), (m,)
        As shown.
    values : ndarray, shape (n, m)
        [°C]
    """
    right = WIDTH - 76
    x = Axis(float(min(at)), float(max(at)), (LEFT, right), logarithmic[0])
    y = Axis(float(min(at_2)), float(max(at_2)), (HEIGHT - BOTTOM, TOP), logarithmic[1])
    levels = svg.ticks(float(np.nanmin(values)), float(np.nanmax(values)), 9)
    xs, ys = (np.array([axis(float(v)) for v in given]) for axis, given in ((x, at), (y, at_2)))
    made, low, high = bands(xs, ys, values, levels)
    body = [*made, *frame(x, y, x_label, y_label), *key(low, high, levels, right + 20, TOP, HEIGHT - BOTTOM)]
    if level is not None:
        body += bands(xs, ys, values, [level], lines=True)[0]
    if now is not None:
        px, py = x(now[0]), y(now[1])
        body.append(svg.dot(px, py, 6.5, "#000"))
    return svg.picture(WIDTH, HEIGHT, name, body)


def key(low: float, high: float, levels: Sequence[float], x: float, top: float, bottom: float) -> list[str]:
    """Return the scale of bands of temperature, in °C."""
    edges = [low, *(v for v in levels if low < v < high), high]
    axis = Axis(low, high, (bottom, top + 16))
    made = [svg.label(x, top + 6, "°C", size=12)]
    for a, b in pairwise(edges):
        made.append(svg.rect(x, axis(b), 15, axis(a) - axis(b), colour((0.5 * (a + b) - low) / (high - low)), "none"))
    every = 1 + len(edges) // 12
    for edge in edges[1:-1:every]:
        made.append(svg.label(x + 21, axis(edge) + 4, f"{edge:g}", size=12, class_="soft"))
    made.append(svg.rect(x, axis(high), 15, axis(low) - axis(high), "none", stroke_width="1"))
    return made
