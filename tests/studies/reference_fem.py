"""Reference solutions by quadratic finite elements: mesh study, extrapolation, estimated error.

    python tests/studies/reference_fem.py [stack ...]

Prints the mesh study of each stack (all of `stacks.STACKS` without arguments) and writes results/fem_<stack>.json.
There is no randomness. Nothing here knows the layered solver; what it uses is `tensor_fem` (the same discrete problem
solved fast), which the test beside this file holds to plainly assembled elements and to published series.

Meshes: the same graded mesh with twice the cells along every axis, four times; order and limit come from the last
three. Where the observed order lies between 2 and 6 the estimated error is the whole distance from the finest mesh to
the limit, otherwise the finest mesh stands and the last change is the error.
"""

from __future__ import annotations

import json
import platform
import sys
import time
from importlib.metadata import version
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import stacks
from local_k import solve_local_k
from tensor_fem import Line, Mesh, Stack

RESULTS = Path(__file__).parent / "results"
POWER = 3.0
"""Grading: the distance of a line from an edge is the cube of an even parameter."""
CELLS = (2, 4, 8, 16)
"""Cells between neighbouring edges in each mesh (more where edges lie far apart)."""
ROUND_OFF = 1e-10
"""Part of the largest value that no error estimate may go below."""


def on_mesh(graph, arrays, notes: dict[str, Any], cells: int, power: float = POWER) -> dict[str, Any]:
    """Return influence and flow of a stack on one mesh; with a law, rises and flows at the stated power instead."""
    stack = Stack(graph, arrays, Mesh.of(graph, arrays, cells, cells, power))
    lines = [len(stack.mesh.x), len(stack.mesh.y), sum(map(len, stack.mesh.z))]
    out = {"cells": cells, "lines": lines, "unknowns": stack.unknowns}
    watts = np.array(notes["power_W"])
    if "law" in notes:
        b = notes["slabs"].index(notes["law"]["slab"])
        solved = solve_local_k(stack, b, notes["law"], notes["coolant_K"], watts)
        return out | {
            "rise_K": solved["probes"],
            "flow_W": solved["flow"],
            "face": [(b, stack.blocks[b], solved["field"][:, :, 0])],
        }
    solved = stack.influence()
    faces = []
    for b in sorted({s.block for s in graph.sources}):
        nodal = np.tensordot(watts, stack.face(b, 0, solved["loads"], solved["offset"]), 1)
        faces.append((b, stack.blocks[b], nodal))
    return out | {"influence": solved["influence"], "flow": solved["flow"], "face": faces}


def interpolation(line: Line, points: np.ndarray) -> np.ndarray:
    """Return the matrix that gives the values at points from those at the nodes of an axis."""
    return np.array([line.mean(v, v) for v in points])


def hottest(faces: list[tuple[int, Any, np.ndarray]]) -> tuple[int, float, float, float]:
    """Return block, x, y [m] and rise [K] of the highest value of the quadratic field on the active faces."""
    best = (-1, 0.0, 0.0, -np.inf)
    for b, block, nodal in faces:
        i, j = np.unravel_index(np.argmax(nodal), nodal.shape)
        windows = [[n[max(k - 2, 0)], n[min(k + 2, len(n) - 1)]] for n, k in ((block.x.nodes, i), (block.y.nodes, j))]
        for _ in range(6):
            xs, ys = (np.linspace(*w, 33) for w in windows)
            values = interpolation(block.x, xs) @ nodal @ interpolation(block.y, ys).T
            i, j = np.unravel_index(np.argmax(values), values.shape)
            if values[i, j] > best[3]:
                best = (b, float(xs[i]), float(ys[j]), float(values[i, j]))
            windows = [[v[max(k - 2, 0)], v[min(k + 2, 32)]] for v, k in ((xs, i), (ys, j))]
    return best


def nearest(lines: np.ndarray, value: float, snap: float = 1e-5) -> float:
    """Return the line next to a coordinate if it is within `snap`, else the coordinate in whole µm. [m]"""
    line = float(lines.ravel()[np.argmin(np.abs(lines - value))])
    return line if abs(line - value) <= snap else round(value, 6)


def limit(values: np.ndarray, cells: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return limit, estimated error and observed order of values on meshes, shape (meshes, ...), each twice as fine."""
    if any(b != 2 * a for a, b in pairwise(cells)):
        raise ValueError("each mesh must have twice the cells of the one before")
    f1, f2, f3 = values[-3:]
    first, last = f2 - f1, f3 - f2
    floor = ROUND_OFF * np.abs(values).max()
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(np.abs(last) > floor, first / last, 0.0)
        order = np.where(ratio > 0, np.log2(np.abs(ratio)), np.nan)
        clean = (order >= 2) & (order <= 6)
        step = np.where(clean, last / (ratio - 1), 0.0)
    error = np.where(clean, np.abs(step), np.abs(last))
    return f3 + step, np.maximum(error, floor), order


def study(name: str, say: Any = print) -> dict[str, Any]:
    """Return the mesh study of a stack."""
    graph, arrays, notes = stacks.STACKS[name]()
    say(f"\n{name}: {notes['title']}")
    # Where is the hottest point? Found on a mesh that is finer between the edges than the others, then a node of every
    # mesh, on a line that is there already if one is within 10 µm (the rise is flat there).
    b, x, y, _ = hottest(on_mesh(graph, arrays, notes, CELLS[-2], 1.5)["face"])
    for rects in (arrays.source_rect[0], arrays.contact_rect[0], arrays.probe_rect[0]):
        x, y = (nearest(rects[:, axis::2], v) for axis, v in ((0, x), (1, y)))
    slab = graph.first_slab[b]
    graph, arrays = stacks.with_points(graph, arrays, slab, [(x, y)])
    watts = np.array(notes["power_W"])
    meshes = []
    for n in CELLS:
        start = time.perf_counter()
        mesh = on_mesh(graph, arrays, notes, n)
        mesh["face_maximum_K"] = hottest(mesh.pop("face"))[3]
        if "influence" in mesh:
            mesh["hottest_K"] = float(mesh["influence"][-1] @ watts)
            mesh["influence"] = mesh["influence"][:-1]
        else:
            mesh["hottest_K"], mesh["rise_K"] = float(mesh["rise_K"][-1]), mesh["rise_K"][:-1]
        meshes.append(mesh)
        key = "influence" if "influence" in mesh else "rise_K"
        say(f"  {n:3d} cells  {mesh['unknowns']:10d} unknowns  first probe {mesh[key].ravel()[0]:.9f}  "
            f"hottest {mesh['hottest_K']:.6f} K  ({time.perf_counter() - start:.1f} s)")  # fmt: skip
    out: dict[str, Any] = {
        "stack": name, "title": notes["title"], "element": "triquadratic hexahedra", "grading_power": POWER,
        "versions": {p: version(p) for p in ("numpy", "scipy", "scikit-fem")} | {"python": platform.python_version()},
        "probes": notes["probes"], "sources": notes["sources"], "contacts": notes["contacts"],
        "power_W": notes["power_W"], "coolant_K": notes["coolant_K"],
    }  # fmt: skip
    if "law" in notes:
        out["law"] = notes["law"]
    for key in ("influence", "flow", "rise_K", "flow_W"):
        if key in meshes[0]:
            value, error, order = limit(np.array([m[key] for m in meshes]), CELLS)
            out[key], out[f"{key}_error"] = value.tolist(), error.tolist()
            out[f"{key}_order"] = [None if not np.isfinite(v) else round(float(v), 2) for v in order.ravel()]
    value, error, order = limit(np.array([m["hottest_K"] for m in meshes]), CELLS)
    missed = max(meshes[-1]["face_maximum_K"] - meshes[-1]["hottest_K"], 0.0)
    out["hottest"] = {
        "slab": notes["slabs"][slab], "point_m": [x, y], "rise_K": float(value), "error_K": float(error + missed),
        "order": None if not np.isfinite(order) else round(float(order), 2),
    }  # fmt: skip
    out["meshes"] = [{k: v.tolist() if isinstance(v, np.ndarray) else v for k, v in m.items()} for m in meshes]
    key = "influence" if "influence" in out else "rise_K"
    relative = np.abs(np.array(out[f"{key}_error"]) / np.array(out[key])).reshape(len(notes["probes"]), -1).max(axis=1)
    means = [i for i, r in enumerate(arrays.probe_rect[0, : len(relative)]) if r[2] > r[0]]
    points = [i for i in range(len(relative)) if i not in means]
    out["relative_error"] = {
        "worst_mean": float(relative[means].max()), "worst_point": float(relative[points].max()),
        "hottest": out["hottest"]["error_K"] / out["hottest"]["rise_K"],
    }  # fmt: skip
    say(f"  estimated relative error: means {out['relative_error']['worst_mean']:.1e}, points "
        f"{out['relative_error']['worst_point']:.1e}, hottest {out['relative_error']['hottest']:.1e} "
        f"({out['hottest']['rise_K']:.5f} K at {x * 1e3:.3f}, {y * 1e3:.3f} mm)")  # fmt: skip
    return out


def write(result: dict[str, Any]) -> Path:
    """Write a study to results/, whole or not at all, and return where."""
    RESULTS.mkdir(exist_ok=True)
    path = RESULTS / f"fem_{result['stack']}.json"
    part = path.with_suffix(".part")
    part.write_text(json.dumps(result, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    part.replace(path)
    return path


def main(names: list[str]) -> None:
    unknown = [n for n in names if n not in stacks.STACKS]
    if unknown:
        raise SystemExit(f"no stack named {', '.join(unknown)}; there are {', '.join(stacks.STACKS)}")
    for name in names or stacks.STACKS:
        write(study(name, lambda line: print(line, flush=True)))


if __name__ == "__main__":
    main(sys.argv[1:])
