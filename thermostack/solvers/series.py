"""One-dimensional conduction with spreading correction: resistances in series from one die up to the coolant.

Each block adds Σ t/(kA) over its slabs and r/A of what lies between them. Where heat enters a block over less than
its face it spreads, and where it leaves over less than its face it is constricted: both are added as the resistance of
a rectangle on a flux channel, for the spreading with all that lies downstream as an even convective base.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..laws.closed_form import closed_form_spreading
from ..laws.flux_channel import FarFace, rectangle_on_flux_channel
from .graph import ENVIRONMENT, Arrays, Graph, Response

__all__ = ["one_dimensional"]

Float = NDArray[np.float64]
Method = Literal["series", "closed form"]

EVEN_BASE_ERROR = 0.15
"""Share of the spreading resistances that an even base may be wrong by: the largest seen on the reference stacks."""
SAME = 1e-9
"""Edges nearer than this are one. [m]"""
PERFECT = 1e-15
"""Specific resistance that stands for perfect contact, where a conductance is needed. [m² K/W]"""


@dataclass(frozen=True)
class _Column:
    """Which contacts and probes belong to which block: of the graph alone, so the same for all samples and steps."""

    blocks: tuple[int, ...]
    """From the die up."""
    upper: dict[int, list[int]]
    lower: dict[int, list[int]]
    """Contacts on the upper and, but for the board's, on the lower face of each block."""
    board: list[int]
    block_of_probe: list[int]


@dataclass(frozen=True, eq=False)
class _Block:
    """What a block adds, each of shape (S,). [K/W]"""

    through: list[Float]
    """What lies above the lower and the upper face of each slab in the block, (levels, S), from below."""
    spreading: Float
    spreading_centre: Float
    constriction: Float
    above: Float
    """From the contact on the upper face to the coolant."""

    @property
    def below(self) -> Float:
        """From the contact on the lower face to the coolant."""
        return self.through[0] + self.spreading + self.constriction + self.above


def one_dimensional(graph: Graph, arrays: Arrays, *, spreading: Method = "series") -> Response:
    """Solve a stack with one column of blocks as resistances in series.

    Parameters
    ----------
    graph, arrays : Graph, Arrays
        One block on another, the lowest with all sources.
    spreading : {"series", "closed form"}
        Flux-channel series, or the closed form for a centred disk of equal area (quick, some per cent off).

    Returns
    -------
    Response
        Every source counts as spread evenly over the active face. A probe without extent on that face is taken for
        its centre, every other for the mean of the contact or face that it lies on. `error` is 15 % of the spreading
        resistances, the largest difference to converged three-dimensional solutions on the reference stacks.

    Raises
    ------
    InputError
        Blocks side by side: several dies under one lid need the layered solver.
    """
    column = _column(graph)
    samples = arrays.samples
    whole = np.concatenate([arrays.centre - arrays.size / 2, arrays.centre + arrays.size / 2], axis=2)
    blocks: dict[int, _Block] = {}
    above: Float = np.zeros(1)
    for block in reversed(column.blocks):
        above = 1.0 / _conductances(arrays, column.upper[block]).sum(axis=1) + above
        blocks[block] = _block(graph, arrays, column, block, whole[:, block], above, spreading)
        above = blocks[block].below
    up: Float = np.ones(1)
    if column.board:
        down = 1.0 / _conductances(arrays, column.board).sum(axis=1)
        up = down / (down + above)
    rise = _rises(graph, arrays, column, blocks, whole)
    if column.board:
        rise = up[:, None] * rise
    doubt = EVEN_BASE_ERROR * up * sum(b.spreading_centre + b.constriction for b in blocks.values())
    flow = _side_by_side(
        [
            up - 1.0 if c.below == ENVIRONMENT else up * _share(arrays, column.upper[c.below], i)
            for i, c in enumerate(graph.contacts)
        ]
    )
    sources = len(graph.sources)
    shape = (samples, len(graph.probes), sources)
    return Response(
        influence=np.broadcast_to(rise[:, :, None], shape),
        flow=np.broadcast_to(flow[:, :, None], (samples, len(graph.contacts), sources)),
        error=np.broadcast_to(doubt[:, None, None], shape),
        solver="one-dimensional" if spreading == "series" else "one-dimensional, closed form",
    )


@lru_cache(maxsize=64)
def _column(graph: Graph) -> _Column:
    """Return the blocks from the die up, and what touches them."""
    heated = {source.block for source in graph.sources}
    chain = [min(heated)] if len(heated) == 1 else []
    while chain and (above := {c.above for c in graph.contacts if c.below == chain[-1]} - {ENVIRONMENT}):
        chain.append(above.pop())
    if len(chain) != len(graph.slabs_of_block) or len(set(chain)) != len(chain):
        raise InputError(
            f"{len(heated)} heated blocks among {len(graph.slabs_of_block)} do not lie one on another",
            where="one-dimensional solver",
            expected="a single die; several dies under one lid need solver='layered'",
        )
    contacts = list(enumerate(graph.contacts))
    return _Column(
        tuple(chain),
        {block: [i for i, c in contacts if c.below == block] for block in chain},
        {block: [i for i, c in contacts if c.above == block and c.below != ENVIRONMENT] for block in chain},
        [i for i, c in contacts if c.below == ENVIRONMENT],
        [graph.block_of_slab[probe.slab] for probe in graph.probes],
    )


def _conductances(arrays: Arrays, contacts: list[int]) -> Float:
    """Conductance of each contact, shape (S, contacts); a perfect one has a nearly infinite one. [W/K]"""
    rect = arrays.contact_rect[:, contacts]
    area = (rect[..., 2] - rect[..., 0]) * (rect[..., 3] - rect[..., 1])
    return np.asarray(area / np.maximum(arrays.contact_r[:, contacts], PERFECT))


def _share(arrays: Arrays, beside: list[int], contact: int) -> Float:
    """Share of the heat that passes through one rectangle of a split contact."""
    if len(beside) == 1:
        return np.ones(1)
    conductance = _conductances(arrays, beside)
    return np.asarray(conductance[:, beside.index(contact)] / conductance.sum(axis=1))


def _block(
    graph: Graph, arrays: Arrays, column: _Column, block: int, whole: Float, above: Float, method: Method
) -> _Block:
    slabs = slice(graph.first_slab[block], graph.first_slab[block + 1])
    size = arrays.size[:, block]
    area = size[:, 0] * size[:, 1]
    t, kz, kxy = arrays.thickness[:, slabs], arrays.k_through[:, slabs], arrays.k_in_plane[:, slabs]
    r = arrays.r_above[:, slabs]
    through = [np.zeros(1)]
    for slab in reversed(range(t.shape[1])):
        through.append(through[-1] + r[:, slab] / area if slab < t.shape[1] - 1 else through[-1])
        through.append(through[-1] + t[:, slab] / (kz[:, slab] * area))
    through = through[:0:-1]
    leaves, enters = (_bounds(arrays, contacts) for contacts in (column.upper[block], column.lower[block]))
    constriction = mean = centre = np.zeros(1)
    if not _covers(leaves, whole):
        turned = t[:, ::-1], kz[:, ::-1], kxy[:, ::-1], _reversed(r)
        constriction = _spread(leaves, whole, turned, np.ones(1), "uniform flux", method)[0]
    if len(enters) and not _covers(enters, whole):
        h = 1.0 / ((above + constriction) * area)
        mean, centre = _spread(enters, whole, (t, kz, kxy, r), h, "film", method)
    return _Block(through, mean, centre, constriction, above)


def _reversed(r: Float) -> Float:
    """Resistances above each slab when the slabs are counted from above; nothing lies beyond the last."""
    return np.concatenate([r[:, :-1][:, ::-1], np.zeros((len(r), 1))], axis=1)


def _bounds(arrays: Arrays, contacts: list[int]) -> Float:
    """Rectangle around contacts, shape (S, 4); without rows if there are none."""
    if len(contacts) < 2:
        return arrays.contact_rect[:, contacts[0]] if contacts else np.zeros((0, 4))
    rect = arrays.contact_rect[:, contacts]
    return np.concatenate([rect[..., :2].min(axis=1), rect[..., 2:].max(axis=1)], axis=1)


def _covers(rect: Float, whole: Float) -> bool:
    return bool((np.abs(rect - whole) < SAME).all())


def _spread(
    rect: Float,
    whole: Float,
    layers: tuple[Float, Float, Float, Float],
    h: Float,
    far_face: FarFace,
    method: Method,
) -> tuple[Float, Float]:
    """Spreading resistance of an evenly heated rectangle of a block's face: of its mean and of its centre. [K/W]"""
    t, k_through, k_in_plane, r = layers
    size, source = whole[:, 2:] - whole[:, :2], rect[:, 2:] - rect[:, :2]
    if method == "closed form":
        one = t.shape[1] == 1
        thickness = t[:, 0] if one else t.sum(axis=1)
        if far_face != "film":
            h = thickness * 1e-6  # next to adiabatic: the closed form's limit of heat that came in evenly
        radius, source_radius = (np.sqrt(x[:, 0] * x[:, 1] / np.pi) for x in (size, source))
        k = k_through[:, 0] if one else thickness / (t / k_through).sum(axis=1)
        found = closed_form_spreading(source_radius, radius, thickness, k, h, warn=False)
    else:
        middle = (rect[:, 2:] + rect[:, :2]) / 2 - whole[:, :2]
        found = rectangle_on_flux_channel(
            size, source, middle, t, k_through, h, k_in_plane=k_in_plane, r_above=r, far_face=far_face
        )
    return found.spreading_mean, found.spreading_centre


def _rises(graph: Graph, arrays: Arrays, column: _Column, blocks: dict[int, _Block], whole: Float) -> Float:
    """Resistance from each probe to the coolant, shape (S, probes). [K/W]"""
    rect = arrays.probe_rect
    point = np.asarray((rect[..., 2:] == rect[..., :2]).all(axis=(0, 2)))
    covers = np.asarray((np.abs(rect - whole[:, column.block_of_probe]) < SAME).all(axis=(0, 2)))
    to_centre = sum(b.spreading_centre - b.spreading for b in blocks.values())
    known: dict[tuple[int, int, str], Float] = {}
    out = []
    for i, probe in enumerate(graph.probes):
        number = column.block_of_probe[i]
        block, last = blocks[number], 2 * graph.slabs_of_block[number] - 1
        level = 2 * (probe.slab - graph.first_slab[number]) + probe.side
        at = "face"
        if level == last and not point[i] and not covers[i]:
            at = "contact above"
        elif level == 0 and number == column.blocks[0]:
            at = "centre" if point[i] else "face"
        elif level == 0 and not covers[i]:
            at = "contact below"
        if (number, level, at) not in known:
            face = block.through[level] + block.constriction + block.above
            known[number, level, at] = (
                block.above if at == "contact above"
                else face + to_centre if at == "centre"
                else face + block.spreading if at == "contact below"
                else face
            )  # fmt: skip
        out.append(known[number, level, at])
    return _side_by_side(out)


def _side_by_side(given: list[Float]) -> Float:
    """Stack arrays of shape (S,) or (1,) as columns, shape (S, …)."""
    stacked = np.empty((len(given), max(len(x) for x in given)))
    for row, x in zip(stacked, given, strict=True):
        row[:] = x
    return stacked.T
