"""The layered solver: layouts, symmetry classes, threads, and the solver's own error estimate."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController  # type: ignore[import-untyped]

from thermostack.errors import SolveError
from thermostack.solvers.graph import Arrays, Graph, Response
from thermostack.solvers.layered.flows import contact_flow
from thermostack.solvers.layered.layout import Layout, layouts, rows
from thermostack.solvers.layered.loads import Loads, columns
from thermostack.solvers.layered.settings import LayeredSettings
from thermostack.solvers.layered.system import System
from thermostack.solvers.layered.validate import check

__all__ = ["Solved", "layered", "solve_group", "solve_one"]

Float = NDArray[np.float64]
Int = NDArray[np.intp]

LOWER_ORDER = 0.85
"""Share of the total degree of a second, cheaper solution, from whose change the error is estimated."""
SAFETY = 3.2
"""Factor on that change: enough for errors that fall like 1/p² (2.6 of the change is then left) and all faster ones."""
CROSS = 0.2
"""Least share of the geometric mean of the changes of source and probe: a single change may vanish by chance."""
FLOOR = 5e-6
"""Least error, as a share of the hottest probe of a source."""
CHUNK_BYTES = 3.2e7
"""Working memory of one thread."""


def layered(graph: Graph, arrays: Arrays, settings: LayeredSettings | None = None) -> Response:
    """Solve conduction through blocks and contacts by cosine modes and polynomial contact flux.

    Parameters
    ----------
    graph : Graph
        Which faces touch.
    arrays : Arrays
        Sizes and properties; samples that share a row are not computed twice where only geometry enters.
    settings : LayeredSettings, optional
        Defaults reach 0.05 % of the hottest probe, by the solver's own estimate.

    Returns
    -------
    Response
        Influence of every source on every probe, flow through contacts, estimated error.

    Raises
    ------
    InputError
        If the arrays make no possible stack; `where` names field, sample and index.
    SolveError
        If a result is not finite or its estimated error is above the limit of the settings.

    Notes
    -----
    Flux through a contact is the unknown, in products of Legendre polynomials; every block turns flux into temperature
    mode by mode; continuity is tested with the same polynomials (a Galerkin method for the flux, so that mean rises
    converge twice as fast as the flux and a self-influence approaches its limit from above). Perfect contacts and
    contacts of any resistance are the same to it. Sources enter as right-hand sides: a new power map on the same
    regions is a product with `influence`.
    """
    settings = settings or LayeredSettings()
    check(graph, arrays)
    samples, probes, sources = arrays.samples, len(graph.probes), len(graph.sources)
    influence, error = np.zeros((2, samples, probes, sources))
    flow, share = np.zeros((samples, len(graph.contacts), sources)), np.zeros(samples)

    def run(task: tuple[Layout, Int]) -> None:
        layout, index = task
        solved = solve_group(graph, rows(arrays, index), layout)
        influence[index], error[index] = solved.influence, solved.error
        flow[index], share[index] = solved.flow, solved.share

    pending, effort = np.arange(samples), 1.0
    for _ in range(settings.rounds + 1):
        _run_all(run, list(_tasks(graph, arrays, settings, pending, effort)), settings.workers)
        pending, effort = pending[share[pending] > settings.tolerance], effort * settings.step
        if not len(pending):
            break
    finite = np.isfinite(influence).all(axis=(1, 2)) & np.isfinite(flow).all(axis=(1, 2))
    if not finite.all():
        raise SolveError(f"layered: the result of sample {int(np.argmin(finite))} is not finite")
    if share.max(initial=0.0) > settings.limit:
        raise SolveError(
            f"layered: estimated error {share.max():.2g} of the hottest probe in sample {int(share.argmax())}, above "
            f"the limit {settings.limit:g}; raise `most` or `rounds` of the settings"
        )
    return Response(influence, flow, error, "layered")


def solve_one(graph: Graph, arrays: Arrays, settings: LayeredSettings) -> Solved:
    """Solution of one checked sample with as many polynomials as the tolerance asks for."""
    effort = 1.0
    for _ in range(settings.rounds + 1):
        [(layout, _)] = layouts(graph, arrays, settings, effort)
        solved = solve_group(graph, arrays, layout)
        if solved.share.max(initial=0.0) <= settings.tolerance:
            break
        effort *= settings.step
    if not all(np.isfinite(x).all() for x in solved.solutions):
        raise SolveError("layered: the field is not finite")
    return solved


def _run_all(run: Callable[[tuple[Layout, Int]], None], tasks: list[tuple[Layout, Int]], workers: int | None) -> None:
    """Run all tasks, on several threads if that many are allowed; each thread keeps to one BLAS thread."""
    count = min(workers or os.cpu_count() or 1, len(tasks))
    if count <= 1:
        for task in tasks:
            run(task)
        return
    with _blas().limit(limits=1), ThreadPoolExecutor(count) as pool:
        list(pool.map(run, tasks))


@cache
def _blas() -> ThreadpoolController:
    """Handle on the BLAS libraries that are loaded; finding them takes longer than a small solve."""
    return ThreadpoolController()


def _tasks(
    graph: Graph, arrays: Arrays, settings: LayeredSettings, pending: Int, effort: float
) -> Iterator[tuple[Layout, Int]]:
    """Chunks of samples of one layout that fit into memory."""
    chosen = arrays if len(pending) == arrays.samples else rows(arrays, pending)
    for layout, index in layouts(graph, chosen, settings, effort):
        unknowns = sum(px * py // 2 for px, py in layout.degrees)
        products = sum((px * py) ** 2 for px, py in layout.degrees)
        modes = sum(m * n for m, n in layout.modes) * (8 + len(graph.sources) + len(graph.probes))
        shrink = np.prod([4 if p != (None,) else 1 for p in layout.parities])
        size = 8.0 * (2 * unknowns**2 + 2 * products + modes) / shrink
        count, members = int(max(1, CHUNK_BYTES // size)), pending[index]
        for start in range(0, len(members), count):
            yield layout, members[start : start + count]


@dataclass(frozen=True, eq=False)
class Solved:
    """Solution of samples that share a layout.

    Attributes
    ----------
    loads : tuple of Loads
        Sources and probes in every symmetry class; that with the mean comes first.
    direct : Loads
        The same in the class that holds all modes that the sources excite.
    """

    loads: tuple[Loads, ...]
    direct: Loads

    @cached_property
    def solutions(self) -> tuple[Float, ...]:
        """A⁻¹R of every column in each class, shape (S, unknowns, columns)."""
        return tuple(_solve(loads.system.matrix, loads.residuals) for loads in self.loads)

    @cached_property
    def influence(self) -> Float:
        """Rise of probes for a watt from sources, shape (S, probes, sources). [K/W]"""
        cols = self.direct.columns
        total = self.direct.direct[0][:, cols.probe]
        for loads, x in zip(self.loads, self.solutions, strict=True):
            R = loads.residuals[:, :, cols.probe].swapaxes(-1, -2)
            total = total + loads.shadowed[:, cols.probe[:, None], cols.source] - R @ x[:, :, cols.source]
        return total

    def gap(self, share: float) -> Float:
        """Change from the solution at a lower total degree, in all columns: (S, columns, columns). [K/W]"""
        total: Float = np.zeros(1)
        for loads, x in zip(self.loads, self.solutions, strict=True):
            keep, R = loads.system.lower_order(share), loads.residuals
            low = R[:, keep]
            fewer = _solve(loads.system.matrix[:, keep[:, None], keep], low)
            total = total + R.swapaxes(-1, -2) @ x - low.swapaxes(-1, -2) @ fewer
        return total

    @cached_property
    def error(self) -> Float:
        """Estimated error of `influence`, shape (S, probes, sources). [K/W]

        Solutions of lower and full total degree are nested, and the change of every self-influence from one to the
        other is the energy of what was missed; the change of a cross influence is at most the geometric mean of
        both. Errors of the sums over modes are added.
        """
        cols, gap = self.direct.columns, self.gap(LOWER_ORDER)
        own = np.sqrt(np.abs(np.diagonal(gap, axis1=1, axis2=2)))
        change = np.abs(gap[:, cols.probe[:, None], cols.source])
        change = np.maximum(change, CROSS * own[:, cols.probe, None] * own[:, None, cols.source])
        modes = self.direct.direct[1][:, cols.probe] + self.loads[0].contact_mode_error()[:, None, None]
        hottest = np.abs(self.influence).max(axis=1, keepdims=True, initial=0.0)
        return np.asarray(SAFETY * change + modes + FLOOR * hottest)

    @cached_property
    def share(self) -> Float:
        """Largest estimated error as a share of the hottest probe of the same source, shape (S,)."""
        hottest = np.abs(self.influence).max(axis=1, keepdims=True, initial=1e-300)
        return np.asarray((self.error / hottest).max(axis=(1, 2), initial=0.0))

    @cached_property
    def flow(self) -> Float:
        """Heat upwards through contacts, shape (S, contacts, sources). [W/W]"""
        total: Float = np.zeros(1)
        for loads, x in zip(self.loads, self.solutions, strict=True):
            if loads.system.blocks[0].has_mean:
                total = contact_flow(loads, x)
        return total


def _solve(matrix: Float, right: Float) -> Float:
    return np.asarray(np.linalg.solve(matrix, right)) if matrix.shape[-1] else right


def solve_group(graph: Graph, arrays: Arrays, layout: Layout) -> Solved:
    """Set up all symmetry classes of samples that share a layout."""
    cols = columns(graph, arrays)
    classes = tuple(Loads(System(graph, arrays, layout, (px, py)), cols) for px, py in product(*layout.parities))
    # the direct rise has no contacts in it: all modes at once, except where the sources excite even ones alone
    parities = tuple(None if len(p) == 2 else p[0] for p in layout.parities)
    same = [loads for loads in classes if loads.system.parity == parities]
    direct = same[0] if same else Loads(System(graph, arrays, layout, (parities[0], parities[1])), cols)
    return Solved(classes, direct)
