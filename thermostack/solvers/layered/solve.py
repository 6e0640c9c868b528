"""The layered solver: layouts, symmetry classes, right-hand sides, evaluation rows and flows."""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from thermostack.errors import SolveError
from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph, Response
from thermostack.solvers.layered.faces import LOWER, UPPER
from thermostack.solvers.layered.layout import Layout, layouts, rows
from thermostack.solvers.layered.settings import LayeredSettings
from thermostack.solvers.layered.system import System, level_of
from thermostack.solvers.layered.validate import check

__all__ = ["layered"]

Float = NDArray[np.float64]
ONE = (np.zeros(1, dtype=np.intp), np.zeros(1, dtype=np.intp))


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
    degrees = getattr(settings, 'degrees', None) or tuple((settings.polynomials,) * 2 for _ in graph.contacts)
    S = arrays.samples
    influence = np.zeros((S, len(graph.probes), len(graph.sources)))
    error = np.zeros_like(influence)
    flow = np.zeros((S, len(graph.contacts), len(graph.sources)))
    for parity in product(*layout.parities):
        system = System(graph, arrays, layout, (parity[0], parity[1]), degrees, settings.corner)
        B = np.zeros((S, system.unknowns, len(graph.sources)))
        for block in {s.block for s in graph.sources}:
            mine = [i for i, s in enumerate(graph.sources) if s.block == block]
            patch = system.blocks[block].patch(LOWER, arrays.source_rect[:, mine], ONE)
            B[:, :, mine] = -system.loads(patch, block)
        x = np.linalg.solve(system.matrix, B) if system.unknowns else B
        places = [(graph.block_of_slab[p.slab], level_of(graph, p.slab, p.side)) for p in graph.probes]
        for place in dict.fromkeys(places):
            mine = [i for i, p in enumerate(places) if p == place]
            block, level = place
            patch = system.blocks[block].patch(level, arrays.probe_rect[:, mine], ONE)
            influence[:, mine] += system.loads(patch, block).swapaxes(-1, -2) @ x
        if system.blocks[0].has_mean:
            for i in system.open:
                flow[:, i] = x[:, system.places[i].start]
            _film_flow(graph, arrays, layout, system, x, flow)
    # direct
    parities = tuple(None if len(p) == 2 else p[0] for p in layout.parities)
    system = System(graph, arrays, layout, parities, degrees, settings.corner)
    for place in dict.fromkeys(places):
        block, level = place
        mine = [i for i, p in enumerate(places) if p == place]
        theirs = [i for i, s in enumerate(graph.sources) if s.block == block]
        if not theirs:
            continue
        target = system.blocks[block].patch(level, arrays.probe_rect[:, mine], ONE)
        source = system.blocks[block].patch(LOWER, arrays.source_rect[:, theirs], ONE)
        influence[:, np.array(mine)[:, None], np.array(theirs)] += system.blocks[block].between(target, source)[..., 0, 0]
    return influence, flow, error


def _film_flow(graph: Graph, arrays: Arrays, layout: Layout, system: System, x: Float, flow: Float) -> None:
    for b, block in enumerate(system.blocks):
        if block.floating or not block.has_mean:
            continue
        lower, upper = np.zeros((2, len(x), x.shape[2]))
        lower[:, [i for i, s in enumerate(graph.sources) if s.block == b]] = 1.0
        for side in system.sides:
            if side.block == b:
                (lower if side.level == LOWER else upper)[...] += side.sign * x[:, system.places[side.contact].start]
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
