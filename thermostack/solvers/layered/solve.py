"""The layered solver: layouts, symmetry classes, threads, and the solver's own error estimate."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
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

__all__ = ["Solved", "layered", "one_blas_thread", "solve_group", "solve_one"]

Float = NDArray[np.float64]
Int = NDArray[np.intp]

LOWER_ORDERS = (0.85, 0.7)
"""Shares of the total degree of two cheaper solutions, from whose changes the error is estimated."""
SAFETY = 3.2
"""Factor on the last change: enough for errors that fall like 1/p² (2.6 of the change is then left)."""
LEAST_LEFT = 0.55
"""The factor goes down to this share of itself where the change before the last shows that errors fall faster."""
CROSS = 0.2
"""Least share of the geometric mean of the changes of source and probe: a single change may vanish by chance."""
FLOOR = 1e-6
"""Least error, as a share of the hottest probe of a source."""
WORTH_A_THREAD = 100
"""Samples for each thread: with fewer, threads wait for the interpreter's lock more than they compute."""
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
        Defaults keep the estimated error of the order below 0.1 % of the hottest probe; the true one is far less.

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
        flow[index], share[index] = solved.flow, solved.share(solved.order_error)

    pending, effort = np.arange(samples), 1.0
    for _ in range(settings.rounds + 1):
        _run_all(run, list(_tasks(graph, arrays, settings, pending, effort)), settings.workers)
        pending, effort = pending[share[pending] > settings.tolerance], effort * settings.step
        if not len(pending):
            break
    finite = np.isfinite(influence).all(axis=(1, 2)) & np.isfinite(flow).all(axis=(1, 2))
    if not finite.all():
        raise SolveError(f"layered: the result of sample {int(np.argmin(finite))} is not finite")
    share = (error / np.abs(influence).max(axis=1, keepdims=True, initial=1e-300)).max(axis=(1, 2), initial=0.0)
    if share.max(initial=0.0) > settings.limit:
        raise SolveError(
            f"layered: estimated error {share.max():.2g} of the hottest probe in sample {int(share.argmax())}, above "
            f"the limit {settings.limit:g}; raise `most` or `rounds` of the settings"
        )
    return Response(influence, flow, error, "layered")


def solve_one(graph: Graph, arrays: Arrays, settings: LayeredSettings) -> Solved:
    """Solution of one checked sample with as many polynomials as the tolerance asks for."""
    effort = 1.0
    with one_blas_thread():
        for _ in range(settings.rounds + 1):
            [(layout, _)] = layouts(graph, arrays, settings, effort)
            solved = solve_group(graph, arrays, layout)
            if solved.share(solved.order_error).max(initial=0.0) <= settings.tolerance:
                break
            effort *= settings.step
    if not all(np.isfinite(x).all() for x in solved.solutions):
        raise SolveError("layered: the field is not finite")
    return solved


def _run_all(run: Callable[[tuple[Layout, Int]], None], tasks: list[tuple[Layout, Int]], workers: int | None) -> None:
    """Run all tasks, on several threads if that many are allowed; each thread keeps to one BLAS thread."""
    samples = sum(len(index) for _, index in tasks)
    count = min(workers or min(os.cpu_count() or 1, samples // WORTH_A_THREAD), len(tasks))
    with one_blas_thread():
        if count <= 1:
            for task in tasks:
                run(task)
        else:
            with ThreadPoolExecutor(count) as pool:
                list(pool.map(run, tasks))


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Keep BLAS to one thread: more only wait for each other on matrices as small as these."""
    with _blas().limit(limits=1):
        yield


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
        modes += 4 * len(graph.sources) * len(graph.probes) * max(m + n for m, n in layout.modes)
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
    def order_error(self) -> Float:
        """Estimated error by the order of the polynomials, shape (S, probes, sources). [K/W]

        Solutions of lower and full total degree are nested, and the change of every self-influence from one to the
        other is the energy of what was missed; the change of a cross influence is at most the geometric mean of both.
        """
        cols = self.direct.columns
        near, far = (self.gap(share) for share in LOWER_ORDERS)
        own, whole = (np.abs(np.diagonal(gap, axis1=1, axis2=2)) for gap in (near, far))
        # of changes that go on like a geometric series of ratio ρ, ρ/(1−ρ) of the last one is left
        ratio = np.minimum(own / np.maximum(whole - own, 1e-300), 0.5)
        left, own = np.sqrt(np.maximum(ratio / (1.0 - ratio), LEAST_LEFT)), np.sqrt(own)
        change = np.abs(near[:, cols.probe[:, None], cols.source])
        change = np.maximum(change, CROSS * own[:, cols.probe, None] * own[:, None, cols.source])
        return np.asarray(SAFETY * change * left[:, cols.probe, None] * left[:, None, cols.source])

    @cached_property
    def error(self) -> Float:
        """Estimated error of `influence`, by the order and by the sums over modes, (S, probes, sources). [K/W]"""
        cols = self.direct.columns
        crossing = self.loads[0].contact_mode_error()[:, None] @ self.flow**2
        points = self.loads[0].point_mode_error()[:, cols.probe, None]
        hottest = np.abs(self.influence).max(axis=1, keepdims=True, initial=0.0)
        return np.asarray(self.order_error + self.direct.direct[1][:, cols.probe] + crossing + points + FLOOR * hottest)

    def share(self, error: Float) -> Float:
        """Largest error as a share of the hottest probe of the same source, shape (S,)."""
        hottest = np.abs(self.influence).max(axis=1, keepdims=True, initial=1e-300)
        return np.asarray((error / hottest).max(axis=(1, 2), initial=0.0))

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
