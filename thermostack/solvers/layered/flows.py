"""Heat that crosses each contact."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermostack.solvers.layered.loads import Loads
from thermostack.solvers.layered.patches import LOWER, UPPER

__all__ = ["contact_flow"]

Float = NDArray[np.float64]


def contact_flow(loads: Loads, x: Float) -> Float:
    """Heat upwards through each contact for a watt from each source.

    Parameters
    ----------
    loads : Loads
        Of the class that holds the mean.
    x : ndarray, shape (S, unknowns, columns)
        Solved unknowns.

    Returns
    -------
    ndarray, shape (S, contacts, sources)
        [W/W]
    """
    system, sources = loads.system, loads.columns.source
    graph = system.graph
    flow = np.zeros((system.arrays.samples, len(graph.contacts), len(sources)))
    for i in system.open:
        flow[:, i] = x[:, system.places[i].start, : len(sources)]
        if i in loads.through:
            index = loads.columns.groups[graph.contacts[i].below, LOWER]
            mine = index < len(sources)
            flow[:, i, index[mine]] += loads.through[i][:, mine, 0, 0]
    for b, block in enumerate(system.blocks):
        if block.floating:
            continue
        # what enters through the lower and upper face, other than by films over a whole face
        lower, upper = np.zeros((2, len(flow), len(sources)))
        lower[:, [i for i, s in enumerate(graph.sources) if s.block == b]] = 1.0
        for side in system.sides:
            if side.block == b:
                (lower if side.level == LOWER else upper)[...] += side.sign * flow[:, side.contact]
        board = np.zeros_like(lower)
        if block.r_bottom is not None:
            rise = block.impedance(LOWER, LOWER)[:, 0, :1] * lower
            if block.r_top is None:
                rise = rise + block.impedance(LOWER, UPPER)[:, 0, :1] * upper
            board = -rise / block.r_bottom[:, 0]
        for i, contact in enumerate(graph.contacts):
            if system.layout.closed[i] and contact.below == b:
                flow[:, i] = lower + upper + board
            elif system.layout.closed[i] and contact.above == b:
                flow[:, i] = board
    return flow
