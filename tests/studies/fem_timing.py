"""What a finite-element run on one mesh costs and how far it is off: scikit-fem assembly, pyamg, conjugate gradients.

A `Plan` says how many cells lie between neighbouring edges. The run answers what a reading is compared with, the means
over parts of active faces for every source, on a half or quarter of the stack where it is symmetric. Cost is CPU time
of one thread: wall time says the same on a machine with nothing else to do.
"""

from __future__ import annotations

import json
import resource
import time
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import stacks
from assembled_fem import Assembled, fold
from tensor_fem import SAME, Mesh, Stack, graded, unique_lines

from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph

RESULTS = Path(__file__).parent / "results"
TOLERANCES = (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8)
"""Relative residuals of conjugate gradients; a run takes the loosest that is close enough to the discrete solution."""


def active_means(graph: Graph, arrays: Arrays) -> list[int]:
    """Return the probes that are means over a part of an active face: what a reading is compared with."""
    active = {graph.first_slab[s.block] for s in graph.sources}
    wide = arrays.probe_rect[0, :, 2] > arrays.probe_rect[0, :, 0]
    return [i for i, p in enumerate(graph.probes) if p.slab in active and p.side == 0 and wide[i]]


def stored(name: str) -> dict[str, Any]:
    """Return the stored reference of a stack."""
    return json.loads((RESULTS / f"fem_{name}.json").read_text(encoding="utf-8"))


def reference(name: str) -> np.ndarray:
    """Return the stored limit of the influence matrix of a stack. [K/W]"""
    return np.array(stored(name)["influence"])


def relative_error(influence: np.ndarray, limit: np.ndarray, rows: list[int]) -> float:
    """Return the worst error over probes and sources, relative to each value."""
    return float(np.abs(influence[rows] / limit[rows] - 1).max())


@dataclass(frozen=True)
class Plan:
    """Cells between neighbouring edges on x and y and in each slab, graded as distance^power to singular edges."""

    power: float
    x: tuple[int, ...]
    y: tuple[int, ...]
    z: tuple[int, ...]

    def times(self, factor: int) -> Plan:
        """Return the plan with every cell divided."""
        return replace(self, **{a: tuple(factor * n for n in getattr(self, a)) for a in "xyz"})

    def to_dict(self) -> dict[str, Any]:
        """Return what JSON can hold."""
        return asdict(self)

    @classmethod
    def of(cls, stored: dict[str, Any]) -> Plan:
        """Return the plan of such a dictionary."""
        return cls(stored["power"], *(tuple(stored[a]) for a in "xyz"))


class Problem:
    """A stack as finite elements solve it: means on active faces alone, folded where symmetric."""

    def __init__(self, name: str) -> None:
        graph, arrays, _ = stacks.STACKS[name]()
        rows = active_means(graph, arrays)
        self.limit = reference(name)[rows]
        self.graph = replace(graph, probes=tuple(graph.probes[i] for i in rows))
        self.arrays, self.share = fold(self.graph, replace(arrays, probe_rect=arrays.probe_rect[:, rows]))

    @cached_property
    def breaks(self) -> tuple[np.ndarray, np.ndarray]:
        """Edges of blocks, contacts, sources and probes on both axes. [m]"""
        a = self.arrays
        low, high = a.centre[0] - a.size[0] / 2, a.centre[0] + a.size[0] / 2
        rects = np.concatenate([low, high], axis=1)
        rects = np.concatenate([rects, a.contact_rect[0], a.source_rect[0], a.probe_rect[0]])
        return unique_lines(rects[:, 0::2]), unique_lines(rects[:, 1::2])

    @cached_property
    def graded_faces(self) -> list[tuple[bool, bool]]:
        """For each slab, whether flux is singular somewhere on its lower and on its upper face."""
        a, graph = self.arrays, self.graph
        half = a.size[0] / 2
        whole = np.concatenate([a.centre[0] - half, a.centre[0] + half], axis=1)

        def covers(rect: np.ndarray, block: int) -> bool:
            return bool(np.all(np.abs(rect - whole[block]) < SAME))

        found = [[False, False] for _ in graph.block_of_slab]
        for c, rect in zip(graph.contacts, a.contact_rect[0], strict=True):
            for block, slab, side in (
                (c.below, graph.first_slab[c.below + 1] - 1, 1), (c.above, graph.first_slab[c.above], 0),
            ):  # fmt: skip
                if block != ENVIRONMENT:
                    film = ENVIRONMENT in (c.below, c.above) and covers(rect, block)
                    found[slab][side] |= not film
        for s, rect in zip(graph.sources, a.source_rect[0], strict=True):
            found[graph.first_slab[s.block]][0] |= not covers(rect, s.block)
        return [(low, high) for low, high in found]

    def mesh(self, plan: Plan) -> Mesh:
        """Return the mesh of a plan."""
        axes = []
        for breaks, cells in zip(self.breaks, (plan.x, plan.y), strict=True):
            last = len(breaks) - 2
            parts = [
                graded(a, b, n, plan.power, i > 0, i < last)[:-1]
                for i, ((a, b), n) in enumerate(zip(pairwise(breaks), cells, strict=True))
            ]
            axes.append(np.concatenate([*parts, breaks[-1:]]))
        slabs = zip(self.arrays.thickness[0], plan.z, self.graded_faces, strict=True)
        return Mesh(axes[0], axes[1], tuple(graded(0.0, t, n, plan.power, *ends) for t, n, ends in slabs))

    def discrete(self, plan: Plan) -> tuple[np.ndarray, int]:
        """Return the discrete solution, found by the fast way and not counted, and its unknowns."""
        stack = Stack(self.graph, self.arrays, self.mesh(plan))
        return self.share * stack.influence()["influence"], stack.unknowns

    def error(self, influence: np.ndarray) -> float:
        """Return the worst relative error of the means."""
        columns = influence.shape[1]
        return float(np.abs(influence / self.limit[:, :columns] - 1).max())


def run(
    problem: Problem, plan: Plan, discrete: np.ndarray | None, within: float, degree: int = 2, seconds: float = np.inf
) -> dict[str, Any]:
    """Return what one run costs that ends `within` (relative) of the discrete solution, on all sources.

    Residuals are tightened until it does; only the last counts. Without a discrete solution the residual is 1e-4. Where
    all sources would take longer than `seconds`, some are solved and the others counted alike (`extrapolated`).
    """
    start = time.process_time()
    system = Assembled(problem.graph, problem.arrays, problem.mesh(plan), degree)
    assembled = time.process_time()
    multigrid = system.hierarchy()
    ready = time.process_time()
    sources = system.f.shape[1]

    def distance(influence: np.ndarray) -> float:
        if discrete is None:
            return 0.0
        return float(np.abs(influence / discrete[:, : influence.shape[1]] - 1).max())

    for tol in TOLERANCES if discrete is not None else (1e-4,):
        solutions, counts, spent = [], [], 0.0
        for f in system.f.T:
            begun = time.process_time()
            solutions.append(multigrid.solve(f, tol))
            spent += time.process_time() - begun
            counts.append(multigrid.iterations)
            influence = problem.share * system.influence(np.array(solutions).T)
            if distance(influence) > within or ready - start + sources * spent / len(counts) > seconds:
                break
        if distance(influence) <= within:
            break
    solving = spent * sources / len(counts)
    nonzeros, complexity = int(system.A.nnz), float(multigrid.levels.operator_complexity())
    iterations = sum(counts) * sources / len(counts)
    total = ready - start + solving
    elements = sum(slab.mesh.nelements for slab in system.slabs)
    nodes = (degree + 1) ** 3
    return {
        "power": plan.power, "degree": degree, "elements": elements, "unknowns": system.n, "nonzeros": nonzeros,
        "sources": sources, "solved": len(counts), "tolerance": tol, "iterations": iterations,
        "operator_complexity": complexity, "levels": len(multigrid.levels.levels),
        "assembly_s": assembled - start, "setup_s": ready - assembled, "solve_s": solving, "seconds": total,
        "us_per_unknown": 1e6 * total / system.n, "extrapolated": "sources" if len(counts) < sources else "",
        "error": problem.error(influence), "iteration_error": distance(influence),
        # 8 operations a pair of functions a Gauss point; a product with A in conjugate gradients, four Gauss-Seidel
        # sweeps and a residual on each level, twelve operations a vector entry
        "assembly_flop": 8.0 * elements * nodes**2 * (degree + 1) ** 3,
        "solve_flop": iterations * (2.0 * nonzeros + 10.0 * nonzeros * complexity + 12.0 * system.n),
        "peak_memory_GB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e9,
        "influence": influence.tolist(),
    }  # fmt: skip
