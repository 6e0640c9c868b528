"""What varies in the arrays of a model, as a few smooth coordinates: the inputs of an emulator.

Arrays have hundreds of columns; what varies in them are few independent directions, often fewer than uncertain inputs
(a joint's bond line, conductivity, contact resistance and mount factor are one specific resistance). Each column gets
the coordinate in which the response is straightest: logarithms of thickness and conductivity, roots of resistances
(between the resistance itself, in which a series is linear, and its logarithm), lengths in the plane as they are, which
keeps edges that follow sizes linear in one another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..errors import SolveError
from ..model import Model
from ..solvers.graph import Arrays, Graph
from ..units import show

__all__ = ["Features", "features_of", "one_dimensional_parts", "take"]

Float: TypeAlias = NDArray[np.float64]

Map: TypeAlias = Callable[[Float], Float]
_COORDINATES: dict[str, tuple[Map, Map, str]] = {
    "contact_r": (np.sqrt, np.square, "specific resistance"),
    "r_above": (np.sqrt, np.square, "specific resistance"),
    "thickness": (np.log, np.exp, "length"),
    "k_through": (np.log, np.exp, "conductivity"),
    "k_in_plane": (np.log, np.exp, "conductivity"),
    **{
        field: (np.positive, np.positive, "length")
        for field in ("size", "centre", "contact_rect", "source_rect", "probe_rect")
    },
}
"""By field of the arrays, in the order in which independent columns are chosen: coordinate, its inverse, dimension."""

CONSTANT = 1e-9
"""Columns that vary by less, relative to their largest value in the field, do not vary."""
DEPENDENT = 1e-4
"""A column of which a linear function of others leaves less than this share of its standard deviation is dependent."""
ROOM = 1e-3
"""Added on either side of the box, as a share of its width."""


def take(arrays: Arrays, rows: slice | NDArray[np.intp]) -> Arrays:
    """Return some samples of arrays; what all share stays one row."""
    fields = {field: getattr(arrays, field) for field in _COORDINATES}
    return Arrays(**{field: x if len(x) == 1 else x[rows] for field, x in fields.items()})


def one_dimensional_parts(graph: Graph, arrays: Arrays) -> Float:
    """Return t/(kA) of every slab and r/A of every contact and inner joint, shape (S, slabs + contacts + slabs). [K/W]

    The response is close to linear in them, and it is what a series of resistances would be.
    """
    block = list(graph.block_of_slab)
    area = (arrays.size[..., 0] * arrays.size[..., 1])[:, block]
    rect = arrays.contact_rect
    contact = (rect[..., 2] - rect[..., 0]) * (rect[..., 3] - rect[..., 1])
    parts = (arrays.thickness / (arrays.k_through * area), arrays.contact_r / contact, arrays.r_above / area)
    return np.concatenate([np.broadcast_to(p, (arrays.samples, p.shape[1])) for p in parts], axis=1)


@dataclass(frozen=True, eq=False)
class Features:
    """Independent coordinates of what varies.

    Attributes
    ----------
    graph : Graph
    constant : mapping of str to (indices, values, tolerance, names)
        Columns that do not vary, by field.
    varying : mapping of str to indices
        Columns that vary, by field; all of them side by side are the columns below.
    kept : ndarray of int, shape (d,)
        Those that are independent.
    middle, spread : ndarray, shape (columns,)
        Of the columns' coordinates.
    dependence : ndarray, shape (d, columns)
        Linear map from the standardised independent columns to all.
    slack : ndarray, shape (columns,)
        By how much a column may differ from that.
    low, high : ndarray, shape (d,)
        The box, in standardised coordinates.
    names : tuple of str
        Of the independent columns, in the words of the stack.
    parts : ndarray of int, shape (p,)
        One-dimensional parts that are independent of the coordinates and of each other.
    parts_middle, parts_spread : ndarray, shape (p,)
    """

    graph: Graph
    constant: dict[str, tuple[NDArray[np.intp], Float, float, tuple[str, ...]]]
    varying: dict[str, NDArray[np.intp]]
    kept: NDArray[np.intp]
    middle: Float
    spread: Float
    dependence: Float
    slack: Float
    low: Float
    high: Float
    names: tuple[str, ...]
    parts: NDArray[np.intp]
    parts_middle: Float
    parts_spread: Float

    def outside(self, x: Float) -> NDArray[np.bool_]:
        """Tell which coordinates (S, d) lie outside the box, shape (S,)."""
        return np.asarray(np.any((x < self.low) | (x > self.high), axis=1))

    def of(self, arrays: Arrays, *, lenient: bool = False) -> Float:
        """Return the coordinates, shape (S, d); with `lenient` also those that lie outside the box.

        Raises
        ------
        SolveError
            Something differs that did not vary when the features were chosen, or lies outside the box; the message
            says what and by how much.
        """
        for field, (index, values, tolerance, names) in self.constant.items():
            off = np.max(np.abs(_flat(arrays, field)[:, index] - values), axis=0)
            if off.size and off.max() > tolerance:
                by = show(float(off.max()), _COORDINATES[field][2])
                raise SolveError(
                    f"emulator: {names[int(np.argmax(off))]} differs by {by} from the only value it was built for; "
                    "build one with this input among the variables"
                )
        columns = (_columns(arrays, self.varying) - self.middle) / self.spread
        x = columns[:, self.kept]
        off = np.max(np.abs(columns - x @ self.dependence), axis=0, initial=0.0)
        if np.any(off > self.slack):
            raise SolveError(
                "emulator: sizes do not follow one another as in the model it was built for; build one for this model"
            )
        if not lenient:
            self._check_box(x)
        return x

    def trend(self, arrays: Arrays, x: Float) -> Float:
        """Return the columns of the trend, shape (S, 1 + d + p): one, coordinates, one-dimensional parts."""
        parts = one_dimensional_parts(self.graph, arrays)[:, self.parts]
        parts = (parts - self.parts_middle) / self.parts_spread
        return np.concatenate([np.ones((len(x), 1)), x, np.broadcast_to(parts, (len(x), parts.shape[1]))], axis=1)

    def _check_box(self, x: Float) -> None:
        below, above = self.low - x, x - self.high
        beyond = np.maximum(below, above).max(axis=0, initial=-np.inf)
        if not np.any(beyond > 0):
            return
        j = int(np.argmax(beyond / (self.high - self.low)))
        asked = float(x[int(np.argmax(np.maximum(below, above)[:, j])), j])
        field = list(self.varying)[int(np.searchsorted(self._ends, self.kept[j], side="right"))]
        _, inverse, dimension = _COORDINATES[field]
        at, low, high = (
            show(float(inverse(np.array(self.middle[self.kept[j]] + self.spread[self.kept[j]] * v))), dimension)
            for v in (asked, self.low[j], self.high[j])
        )
        outside = int(np.sum(np.any((below > 0) | (above > 0), axis=1)))
        raise SolveError(
            f"emulator: {outside} of {len(x)} samples lie outside its box; {self.names[j]} is asked at {at}, by "
            f"{100 * beyond[j] / (self.high[j] - self.low[j]):.2g} % of the width beyond {low} .. {high}; build it "
            "with wider variables (a conductivity also follows temperature: with a higher `hottest`), or solve directly"
        )

    @property
    def _ends(self) -> NDArray[np.intp]:
        return np.cumsum([len(index) for index in self.varying.values()])


def _flat(arrays: Arrays, field: str) -> Float:
    x: Float = getattr(arrays, field)
    return x.reshape(len(x), -1)


def _columns(arrays: Arrays, varying: dict[str, NDArray[np.intp]]) -> Float:
    """Return the coordinates of all varying columns, shape (S, columns)."""
    samples, columns = arrays.samples, []
    for field, index in varying.items():
        x = _COORDINATES[field][0](_flat(arrays, field)[:, index])
        columns.append(np.broadcast_to(x, (samples, len(index))))
    return np.concatenate(columns, axis=1) if columns else np.zeros((samples, 0))


def features_of(model: Model, arrays: Arrays) -> Features:
    """Choose the features from arrays whose samples span what will be asked.

    Parameters
    ----------
    model : Model
        Gives the graph, and names for messages.
    arrays : Arrays
        Many samples; their extremes are the box.
    """
    constant, varying = {}, {}
    for field in _COORDINATES:
        x = _flat(arrays, field)
        tolerance = CONSTANT * float(np.max(np.abs(x), initial=0.0))
        moves = np.ptp(x, axis=0) > tolerance
        still = np.flatnonzero(~moves)
        constant[field] = (still, x[0, still], 2.0 * tolerance, tuple(_name(model, field, int(j)) for j in still))
        varying[field] = np.flatnonzero(moves)
    columns = _columns(arrays, varying)
    middle, spread = columns.mean(axis=0), columns.std(axis=0)
    columns = (columns - middle) / spread
    kept = _independent(columns, np.zeros((len(columns), 0)))
    x = columns[:, kept]
    dependence = np.linalg.lstsq(x, columns, rcond=None)[0]
    left = np.max(np.abs(columns - x @ dependence), axis=0, initial=0.0)
    low, high = x.min(axis=0), x.max(axis=0)
    room = ROOM * (high - low)
    parts = one_dimensional_parts(model.graph, arrays)
    parts_middle, parts_spread = parts.mean(axis=0), parts.std(axis=0)
    some = np.flatnonzero(parts_spread > CONSTANT * np.max(np.abs(parts)))
    chosen = some[_independent((parts[:, some] - parts_middle[some]) / parts_spread[some], x, 30.0 * DEPENDENT)]
    names = [_name(model, field, int(j)) for field, index in varying.items() for j in index]
    return Features(
        model.graph,
        constant,
        varying,
        kept,
        middle,
        spread,
        dependence,
        10.0 * left + 1e-6,
        low - room,
        high + room,
        tuple(names[j] for j in kept),
        chosen,
        parts_middle[chosen],
        parts_spread[chosen],
    )


def _independent(columns: Float, given: Float, least: float = DEPENDENT) -> NDArray[np.intp]:
    """Return the columns (standardised) that no linear function of `given` and of those before them gives."""
    found, base = [], np.linalg.qr(given)[0] if given.shape[1] else given
    for j, column in enumerate(columns.T):
        rest = column - base @ (base.T @ column)
        rest = rest - base @ (base.T @ rest)
        if np.linalg.norm(rest) > least * np.linalg.norm(column):
            found.append(j)
            base = np.concatenate([base, (rest / np.linalg.norm(rest))[:, None]], axis=1)
    return np.array(found, dtype=np.intp)


def _name(model: Model, field: str, column: int) -> str:
    """Return what a column is in the words of the stack."""
    slabs = [slab.part.name for slab in model.slabs]
    if field in ("thickness", "k_through", "k_in_plane"):
        words = {"thickness": "thickness", "k_through": "conductivity", "k_in_plane": "conductivity_in_plane"}
        return f"{slabs[column]}.{words[field]}"
    if field == "r_above":
        return f"resistance of {_joint(model, lambda r: not r.contacts and r.slab == column) or slabs[column]}"
    if field in ("size", "centre"):
        part = slabs[model.graph.first_slab[column // 2]]
        return f"{part}.{'footprint' if field == 'size' else 'centre'}_{'xy'[column % 2]}"
    edge = ("left", "lower", "right", "upper")[column % 4]
    if field in ("contact_r", "contact_rect"):
        contact = column if field == "contact_r" else column // 4
        joint = _joint(model, lambda r: contact in r.contacts) or "board"
        return f"resistance of {joint}" if field == "contact_r" else f"{edge} edge of a contact of {joint}"
    if field == "source_rect":
        return f"{edge} edge of {model.sources[column // 4]}"
    key = next(key for key, index in model.probes.items() if index == column // 4)
    return f"{edge} edge of the probe {' '.join(key)}"


def _joint(model: Model, wanted: Callable[..., bool]) -> str | None:
    return next(_joints(model, wanted), None)


def _joints(model: Model, wanted: Callable[..., bool]) -> Iterator[str]:
    for rows in model.rows.values():
        yield from (row.part for row in rows if not row.solid and wanted(row))
