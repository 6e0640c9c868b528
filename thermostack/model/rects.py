"""Rectangles whose edges are expressions of a stack's inputs, so that they follow every sample."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..errors import UnknownNameError, suggest

__all__ = [
    "Expression",
    "Float",
    "Rect",
    "Values",
    "area",
    "at",
    "columns",
    "meets",
    "overlap",
    "point_within",
    "rectangle",
    "same",
    "split",
]

Float: TypeAlias = NDArray[np.float64]
Number: TypeAlias = "Float | float"


class Values:
    """The inputs of a model by path, in SI: centres, or samples where they were given."""

    def __init__(self, centres: Mapping[str, float], samples: Mapping[str, Float] | None = None) -> None:
        self._centres = centres
        self._samples = {path: np.asarray(v, dtype=float) for path, v in (samples or {}).items()}
        for path in self._samples:
            if path not in centres:
                raise UnknownNameError(f"{path!r} is no input of this stack; {suggest(path, centres)}")

    def __call__(self, path: str) -> Float:
        """Return the input at a path: its samples, or its centre."""
        return self._samples[path] if path in self._samples else self._centres[path]  # type: ignore[return-value]

    def __contains__(self, path: str) -> bool:
        return path in self._centres

    def with_samples(self, samples: Mapping[str, Float]) -> Values:
        """Return the inputs with further samples, in place of those they had."""
        return Values(self._centres, {**self._samples, **samples})

    @property
    def count(self) -> int:
        """Number of samples."""
        return max((v.size for v in self._samples.values()), default=1)


Expression: TypeAlias = Callable[[Values], Float]
Rect: TypeAlias = tuple[Expression, Expression, Expression, Expression]
"""Left, lower, right and upper edge: x0, y0, x1, y1."""


def rectangle(part: str, size: str = "footprint", centre: str = "centre") -> Rect:
    """Return the footprint of a part, from its size and centre."""

    def edge(axis: str, sign: float) -> Expression:
        return lambda v: v(f"{part}.{centre}_{axis}") + sign * 0.5 * v(f"{part}.{size}_{axis}")

    return edge("x", -1), edge("y", -1), edge("x", +1), edge("y", +1)


def within(outer: Rect, part: str, mirrored: bool = False) -> Rect:
    """Return the rectangle of a region or patch whose `corner` counts from the lower left of `outer`.

    With `mirrored` the corner was read from the other side of the plane: x runs from the right edge.
    """

    def low(axis: int) -> Expression:
        letter = "xy"[axis]
        if mirrored and axis == 0:
            return lambda v: outer[2](v) - v(f"{part}.corner_x") - v(f"{part}.size_x")
        return lambda v: outer[axis](v) + v(f"{part}.corner_{letter}")

    def high(axis: int) -> Expression:
        return lambda v: low(axis)(v) + v(f"{part}.size_{'xy'[axis]}")

    return low(0), low(1), high(0), high(1)


def point_within(outer: Rect, x: float, y: float) -> Rect:
    """Return the point at fractions x, y of a rectangle's sides, as a rectangle without extent."""

    def along(axis: int, fraction: float) -> Expression:
        return lambda v: (1 - fraction) * outer[axis](v) + fraction * outer[axis + 2](v)

    return along(0, x), along(1, y), along(0, x), along(1, y)


def overlap(a: Rect, b: Rect) -> Rect:
    """Return the rectangle that two rectangles share."""

    def larger(p: Expression, q: Expression) -> Expression:
        return lambda v: np.maximum(p(v), q(v))

    def smaller(p: Expression, q: Expression) -> Expression:
        return lambda v: np.minimum(p(v), q(v))

    return larger(a[0], b[0]), larger(a[1], b[1]), smaller(a[2], b[2]), smaller(a[3], b[3])


def area(rect: Rect) -> Expression:
    """Return the area of a rectangle."""
    return lambda v: (rect[2](v) - rect[0](v)) * (rect[3](v) - rect[1](v))


def at(rect: Rect, values: Values) -> tuple[float, float, float, float]:
    """Return the edges as numbers, for the first sample."""
    x0, y0, x1, y1 = (float(np.asarray(edge(values)).flat[0]) for edge in rect)
    return x0, y0, x1, y1


SAME = 1e-9
"""Edges nearer than this are taken for one. [m]"""


def same(a: Sequence[float], b: Sequence[float]) -> bool:
    """Tell whether two rectangles are one, to a nanometre."""
    return max(abs(p - q) for p, q in zip(a, b, strict=True)) < SAME


def meets(a: Sequence[float], b: Sequence[float]) -> bool:
    """Tell whether two rectangles share an area."""
    return min(a[2], b[2]) - max(a[0], b[0]) > SAME and min(a[3], b[3]) - max(a[1], b[1]) > SAME


def split(whole: Rect, patches: Sequence[Rect], values: Values) -> list[tuple[Rect, int | None]]:
    """Cut a rectangle along the edges of patches into rectangles that do not overlap.

    Returns
    -------
    list of (Rect, int or None)
        Each with the index of the patch that it is, or None where no patch lies. How the pieces lie to one another
        is taken from the centres of the inputs.
    """
    inner = [overlap(whole, patch) for patch in patches]
    centres = [at(rect, values) for rect in inner]
    lines: list[list[Expression]] = []
    numbers: list[list[float]] = []
    for low in (0, 1):
        edges = [(at(r, values)[i], r[i]) for r in (whole, *inner) for i in (low, low + 2)]
        edges.sort(key=lambda pair: pair[0])
        kept = [edges[0]]
        for edge in edges[1:]:
            if edge[0] - kept[-1][0] > SAME:
                kept.append(edge)
        lines.append([expression for _, expression in kept])
        numbers.append([number for number, _ in kept])
    bands = []
    for j in range(len(numbers[1]) - 1):
        y = 0.5 * (numbers[1][j] + numbers[1][j + 1])
        kinds = [_patch_at(centres, 0.5 * (numbers[0][i] + numbers[0][i + 1]), y) for i in range(len(numbers[0]) - 1)]
        bands.append(_runs(kinds))
    pieces: list[tuple[Rect, int | None]] = []
    j = 0
    while j < len(bands):
        upper = j + 1
        while upper < len(bands) and bands[upper] == bands[j]:
            upper += 1
        pieces += [((lines[0][a], lines[1][j], lines[0][b], lines[1][upper]), kind) for a, b, kind in bands[j]]
        j = upper
    return pieces


def _patch_at(centres: Sequence[Sequence[float]], x: float, y: float) -> int | None:
    return next((n for n, (x0, y0, x1, y1) in enumerate(centres) if x0 < x < x1 and y0 < y < y1), None)


def _runs(kinds: Sequence[int | None]) -> list[tuple[int, int, int | None]]:
    runs = [(0, 1, kinds[0])]
    for i, kind in enumerate(kinds[1:], start=1):
        if kind == runs[-1][2]:
            runs[-1] = (runs[-1][0], i + 1, kind)
        else:
            runs.append((i, i + 1, kind))
    return runs


def columns(given: Sequence[Number | Sequence[Number]]) -> Float:
    """Stack scalars and samples into one array with the sample axis first; lists inside give a third axis."""
    nested = bool(given) and isinstance(given[0], list | tuple)
    flat: list[Number] = [c for each in given for c in each] if nested else list(given)  # type: ignore[union-attr,arg-type]
    rows = max((np.size(c) for c in flat if isinstance(c, np.ndarray)), default=1)
    if rows == 1:
        stacked = np.array([[c.item() if isinstance(c, np.ndarray) else c for c in flat]], dtype=float)
    else:
        stacked = np.empty((rows, len(flat)))
        for column, c in enumerate(flat):
            stacked[:, column] = c
    return stacked.reshape(rows, len(given), -1) if nested else stacked
