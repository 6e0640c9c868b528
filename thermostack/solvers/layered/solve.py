"""The layered solver: layouts, symmetry classes, right-hand sides, evaluation rows and flows."""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from thermostack.errors import SolveError
from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph, Response
from thermostack.solvers.layered.faces import LOWER, UPPER
from thermostack.solvers.layered.layout import Layout, layouts, rows
from thermostack.solvers.layered.loads import Loads, columns
from thermostack.solvers.layered.settings import LayeredSettings
from thermostack.solvers.layered.system import System
from thermostack.solvers.layered.validate import check

__all__ = ["layered"]

Float = NDArray[np.float64]


def layered(graph: Graph, arrays: Arrays, settings: LayeredSettings | None = None) -> Response:
    """Solve."""
    settings = settings or LayeredSettings()
    check(graph, arrays)
    shape = (arrays.samples, len(graph.probes), len(graph.sources))
    influence, error = np.zeros(shape), np.zeros(shape)
    flow = np.zeros((arrays.samples, len(graph.contacts), len(graph.sources)))
    for layout, index in layouts(graph, arrays, settings):
        influence[index], flow[index], error[index] = _solve(graph, rows(arrays, index), layout, settings)
    if not (np.isfinite(influence).all() and np.isfinite(flow).all()):
        raise SolveError("not finite")
    return Response(influence, flow, error, "layered")


def _solve(graph: Graph, arrays: Arrays, layout: Layout, settings: LayeredSettings) -> tuple[Float, Float, Float]:
    degrees = getattr(settings, "degrees", None) or tuple((settings.polynomials,) * 2 for _ in graph.contacts)
    S = arrays.samples
    influence = np.zeros((S, len(graph.probes), len(graph.sources)))
    error = np.zeros_like(influence)
    flow = np.zeros((S, len(graph.contacts), len(graph.sources)))
    cols = columns(graph, arrays)
    for parity in product(*layout.parities):
        system = System(graph, arrays, layout, (parity[0], parity[1]), degrees, settings.corner)
        loads = Loads(system, cols)
        R = loads.residuals
        x = np.linalg.solve(system.matrix, R[:, :, cols.source]) if system.unknowns else R[:, :, cols.source]
        influence -= R[:, :, cols.probe].swapaxes(-1, -2) @ x
        influence += loads.shadowed[:, cols.probe[:, None], cols.source]
        if system.blocks[0].has_mean:
            for i in system.open:
                flow[:, i] = x[:, system.places[i].start]
                if i in loads.through:
                    below = cols.groups[graph.contacts[i].below, LOWER]
                    mine = below < len(graph.sources)
                    flow[:, i, below[mine]] += loads.through[i][:, mine, 0, 0]
            _film_flow(graph, arrays, layout, system, flow)
    parities = tuple(None if len(p) == 2 else p[0] for p in layout.parities)
    if len(parity) > 1 or parity != parities:
        loads = Loads(System(graph, arrays, layout, parities, degrees, settings.corner), cols)
    influence += loads.direct()[:, cols.probe]
    return influence, flow, error


def _film_flow(graph: Graph, arrays: Arrays, layout: Layout, system: System, flow: Float) -> None:
    for b, block in enumerate(system.blocks):
        if block.floating:
            continue
        lower, upper = np.zeros((2, *flow[:, 0].shape))
        lower[:, [i for i, s in enumerate(graph.sources) if s.block == b]] = 1.0
        for side in system.sides:
            if side.block == b:
                (lower if side.level == LOWER else upper)[...] += side.sign * flow[:, side.contact]
        total = lower + upper
        board = np.zeros_like(total)
        if block.r_bottom is not None:
            rise = block.impedance(LOWER, LOWER)[:, 0, :1] * lower
            if block.r_top is None:
                rise = rise + block.impedance(LOWER, UPPER)[:, 0, :1] * upper
            board = -rise / block.r_bottom[:, 0]
        for i, contact in enumerate(graph.contacts):
            if layout.closed[i] and contact.below == b:
                flow[:, i] = total + board
            elif layout.closed[i] and contact.above == b and contact.below == ENVIRONMENT:
                flow[:, i] = board
