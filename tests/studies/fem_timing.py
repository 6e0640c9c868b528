"""What a careful finite-element run costs for a stated error: scikit-fem assembly, pyamg or direct solve.

The mesh is chosen in favour of finite elements: the smallest of a ladder of graded meshes (grading 2 was the best of
1, 1.5, 2, 2.5 and 3 for stacks of this kind) whose error against the stored limit is below the target, and a quarter of
the stack where it is symmetric. Finding that mesh is not counted. Smoothed aggregation with pyamg's defaults was the
fastest of ten multigrid settings at 8 000 and 31 500 unknowns, and faster than sparse factors from about 5 000 on.
"""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import numpy as np
import stacks
from assembled_fem import Assembled, quarter
from tensor_fem import Mesh, Stack

RESULTS = Path(__file__).parent / "results"
GRADING = 2.0
LADDER = ((1, 1), (1, 2), (2, 2), (2, 3), (3, 3), (3, 4), (4, 4), (4, 6), (6, 6), (8, 8))
"""Cells between neighbouring edges in x and y, and in each slab along z."""


def active_means(graph, arrays) -> list[int]:
    """Return the probes that are means over a part of an active face: what a reading is compared with."""
    active = {graph.first_slab[s.block] for s in graph.sources}
    wide = arrays.probe_rect[0, :, 2] > arrays.probe_rect[0, :, 0]
    return [i for i, p in enumerate(graph.probes) if p.slab in active and p.side == 0 and wide[i]]


def reference(name: str) -> np.ndarray:
    """Return the stored limit of the influence matrix of a stack. [K/W]"""
    return np.array(json.loads((RESULTS / f"fem_{name}.json").read_text(encoding="utf-8"))["influence"])


def relative_error(influence: np.ndarray, limit: np.ndarray, rows: list[int]) -> float:
    """Return the worst error over probes and sources, relative to each value."""
    return float(np.abs(influence[rows] / limit[rows] - 1).max())


def fem_time_for_error(name: str, target: float) -> dict[str, Any]:
    """Return mesh, unknowns, error of the active-face means and wall time [s] of a run below a relative error.

    Raises ValueError where no mesh of the ladder reaches the target.
    """
    graph, arrays, _ = stacks.STACKS[name]()
    limit, rows = reference(name), active_means(graph, arrays)
    try:
        arrays, share = quarter(graph, arrays), 0.25
    except ValueError:
        share = 1.0
    for cells, cells_z in LADDER:
        mesh = Mesh.of(graph, arrays, cells, cells_z, GRADING)
        if relative_error(share * Stack(graph, arrays, mesh).influence()["influence"], limit, rows) <= target:
            break
    else:
        raise ValueError(f"{name}: no mesh of the ladder has an error below {target:g}")
    start = time.perf_counter()
    system = Assembled(graph, arrays, Mesh.of(graph, arrays, cells, cells_z, GRADING))
    assembled = time.perf_counter()
    u = system.direct() if system.n < 5000 else system.multigrid(1e-2 * target)
    influence = share * system.influence(u)
    end = time.perf_counter()
    return {
        "stack": name, "target": target, "error": relative_error(influence, limit, rows), "seconds": end - start,
        "assembly_seconds": assembled - start, "unknowns": system.n, "cells": (cells, cells_z),
        "share": share, "influence": influence,
    }  # fmt: skip
