"""What finite elements cost to be as right as the layered solver is at its default settings, stack by stack.

    OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 python tests/studies/fem_at_equal_error.py [stack ...]

Prints a table and writes results/fem_at_equal_error.json, in which the stacks that are named are made anew. The error
is the worst of the means over dies and regions for all sources, relative to each value, against the stored limits. The
target is the error that layered has, or what the limit itself is uncertain by where that is more.

Everything that is a matter of choice is chosen in favour of finite elements: the mesh grows from one cell between
neighbouring edges, always where it helps most for its unknowns, with the true error known (none of which is counted),
at two gradings; half or quarter of the stack where it is symmetric; the loosest residual that does; means on active
faces alone, where layered answers all probes, estimates its error and knows nothing of the mesh or the limit. Both run
on one thread and are counted in CPU time. *Richardson* takes a mesh and the one with every cell halved, and
extrapolates with order 4 or 3.5, whichever is better on that stack. Where a run takes more than 8 GB or ten minutes,
its time (and where meshes grow beyond 1.5 million, the unknowns) is extrapolated from smaller meshes of the same family (time ∝ unknowns^b, fitted) and marked so; where all
sources would take more than two minutes, some are solved and the others counted alike.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import platform
import resource
import sys
import time
from importlib.metadata import version
from typing import Any

import numpy as np
import stacks
from fem_timing import RESULTS, Plan, Problem, active_means, reference, relative_error, run, stored
from tensor_fem import SAME

from thermostack.solvers.graph import Arrays, Graph
from thermostack.solvers.layered import LayeredSettings, layered
from thermostack.solvers.layered.solve import Solved, solve_one

PATH = RESULTS / "fem_at_equal_error.json"
POWERS = (2.0, 2.5)
"""Gradings: 2.5 takes fewer unknowns, 2 fewer iterations; at 3 there were more of both on the two stacks tried."""
ORDERS = (4.0, 3.5)
LARGE = 500_000
"""From so many unknowns on, only the least grading is run: where both were, it took less time in two of three."""
LARGEST = 1_500_000
"""Most unknowns of a mesh that is searched for; how many the target takes is extrapolated from there."""
MEMORY = 8e9
PER_UNKNOWN = 8e3
"""Least memory of a run, measured at 70 000 unknowns and more. [byte an unknown]"""
FITTED = 300_000
"""Most unknowns of the runs to which a time is fitted that cannot be measured."""
SECONDS = 600.0
PATIENCE = 120.0
"""Where all sources would take longer, some are solved and the others counted alike. [s]"""
SEARCH = 20.0
"""Seconds of CPU time for one search, and again for taking cells back; what is not reached then grows evenly."""
CLOSE = 0.05
"""How close to the discrete solution conjugate gradients must come, as a share of the target."""
LINEAR = ("perfect_step", "solder_lid", "part_wetted")
"""Stacks on which linear elements are tried too."""


# ---------------------------------------------------------------------------------------------------- layered


def matrix_flop(solved: Solved) -> float:
    """Return multiplications and additions of the contact matrix, the shadows and the dense solves, from their sizes.

    Sums over modes are contracted over one axis, then the other; impedances count 40 operations a mode.
    """
    total = 0.0
    for loads in solved.loads:
        system = loads.system
        columns = len(loads.columns.places)
        for block in system.blocks:
            m, n = block.inside
            total += 40.0 * m * n * 3
        for i, a in enumerate(system.sides):
            (m, n), (px, py) = system.blocks[a.block].inside, (len(d) for d in system.kept[a.contact])
            for b in system.sides[i:]:
                if b.block == a.block:
                    qx, qy = (len(d) for d in system.kept[b.contact])
                    x, y = (px * (px + 1) // 2, py * (py + 1) // 2) if a is b else (px * qx, py * qy)
                    total += 2.0 * x * m * n + 2.0 * x * y * n + (2.0 * x * y * 12 if a.level == b.level else 0.0)
            total += 2.0 * columns * (px * m * n + px * py * n)  # loads and shadows
        for place in {cast.block for cast in loads.shadows}:
            m, n = system.blocks[place].inside
            total += 2.0 * columns**2 * m * n
        for share in (1.0, 0.85, 0.7):  # the solution and two cheaper ones, for the error
            size = system.unknowns if share == 1.0 else len(system.lower_order(share))
            total += 2.0 / 3.0 * size**3 + 2.0 * size**2 * columns
    return total


def layered_cost(graph: Graph, arrays: Arrays, runs: int = 15) -> dict[str, float]:
    """Return medians of the CPU and wall time of a call [s] after a first one, and the least CPU time."""
    layered(graph, arrays)
    cpu, wall = [], []
    for _ in range(runs):
        begun = time.process_time(), time.perf_counter()
        layered(graph, arrays)
        cpu.append(time.process_time() - begun[0])
        wall.append(time.perf_counter() - begun[1])
    return {"seconds": float(np.median(cpu)), "wall_seconds": float(np.median(wall)), "least_seconds": min(cpu)}


def layered_row(name: str) -> dict[str, Any]:
    """Return error, sizes and cost of the layered solver at its default settings."""
    graph, arrays, _ = stacks.STACKS[name]()
    rows, limit = active_means(graph, arrays), reference(name)
    influence = layered(graph, arrays).influence[0]
    solved = solve_one(graph, arrays, LayeredSettings())
    systems = [loads.system for loads in solved.loads]
    hottest = np.abs(limit[rows]).max(axis=0)
    uncertain = np.array(stored(name)["influence_error"]) / np.abs(limit)
    return {
        "error": relative_error(influence, limit, rows),
        "error_of_hottest": float((np.abs(influence - limit)[rows] / hottest).max()),
        "reference_error": float(uncertain[rows].max()),
        "unknowns": sum(s.unknowns for s in systems), "classes": len(systems),
        "modes": sum(b.inside[0] * b.inside[1] for s in systems for b in s.blocks),
        "flop": matrix_flop(solved), "sources": len(graph.sources), "probes": len(graph.probes),
        **layered_cost(graph, arrays),
    }  # fmt: skip


# ---------------------------------------------------------------------------------------------------- meshes


class Family:
    """Meshes of one stack and grading by a few numbers: cells in the longest interval of each group, and in each slab.

    Intervals of an axis are grouped by the narrowest block that lies there; shorter ones get as many cells as give them
    the same division of the graded parameter.
    """

    def __init__(self, problem: Problem, power: float) -> None:
        self.problem, self.power = problem, power
        a = problem.arrays
        low, high = a.centre[0] - a.size[0] / 2, a.centre[0] + a.size[0] / 2
        self.groups: list[tuple[int, list[int]]] = []
        self.weights: list[np.ndarray] = []
        for axis, breaks in enumerate(problem.breaks):
            inside = (low[:, axis, None] < breaks[:-1] + SAME) & (high[:, axis, None] > breaks[1:] - SAME)
            narrowest = np.where(inside, (high - low)[:, axis, None], np.inf).argmin(axis=0)
            self.groups += [(axis, np.flatnonzero(narrowest == b).tolist()) for b in np.unique(narrowest)]
            last = len(breaks) - 2
            both = np.array([0 < i < last for i in range(last + 1)])
            length = np.diff(breaks)
            self.weights.append(np.where(both, 2 * (length / 2) ** (1 / power), length ** (1 / power)))

    def start(self) -> list[int]:
        return [1] * (len(self.groups) + len(self.problem.graded_faces))

    def plan(self, numbers: list[int]) -> Plan:
        """Return the cells of every interval."""
        cells = [np.ones(len(w), int) for w in self.weights]
        for (axis, members), n in zip(self.groups, numbers, strict=False):
            w = self.weights[axis][members]
            cells[axis][members] = np.maximum(1, np.rint(n * w / w.max()))
        x, y = (tuple(int(n) for n in c) for c in cells)
        return Plan(self.power, x, y, tuple(numbers[len(self.groups) :]))


def up(n: int) -> int:
    """Return the next number of cells: 1, 2, 3, 4, 6, 8, 11, 15 …"""
    return n + 1 if n < 4 else int(np.ceil(1.3 * n))


def search(family: Family, target: float) -> list[tuple[Plan, float, int]]:
    """Return the path of meshes from the coarsest to the first within the target: plan, error, unknowns.

    In each step all numbers whose increase lowers the error (its mean of fourth powers) most, per factor of unknowns,
    are raised together. The path ends short of the target where meshes become larger than LARGEST.
    """
    problem, numbers, begun = family.problem, family.start(), time.process_time()
    limit = problem.limit

    def measure(plan: Plan) -> tuple[float, float, int]:
        values, unknowns = problem.discrete(plan)
        ratio = values / limit - 1
        return float(np.mean(ratio**4) ** 0.25), float(np.abs(ratio).max()), unknowns

    now = measure(family.plan(numbers))
    path = [(family.plan(numbers), now[1], now[2])]
    while now[1] > target:
        chosen = list(range(len(numbers)))
        if time.process_time() - begun < SEARCH:
            gains = []
            for i in chosen:
                tried = [up(n) if j == i else n for j, n in enumerate(numbers)]
                if family.plan(tried) == family.plan(numbers):
                    gains.append(np.inf)
                    continue
                there = measure(family.plan(tried))
                gains.append(np.log(now[0] / there[0]) / np.log(there[2] / now[2]))
            best = max(g for g in gains if np.isfinite(g))
            chosen = [i for i, g in enumerate(gains) if g >= 0.6 * best] if best > 0 else chosen
            numbers = [up(n) if i in chosen else n for i, n in enumerate(numbers)]
        else:
            numbers = [int(np.ceil(1.1 * n)) for n in numbers]
        now = measure(family.plan(numbers))
        path.append((family.plan(numbers), now[1], now[2]))
        if now[2] > LARGEST:
            return path
    begun = time.process_time()
    while time.process_time() - begun < SEARCH:  # what can be taken back without leaving the target?
        fewer = []
        for i, n in enumerate(numbers):
            less = [max(1, int(m / 1.15) if m > 8 else m - 1) if j == i else m for j, m in enumerate(numbers)]
            if n > 1 and family.plan(less) != family.plan(numbers):
                there = measure(family.plan(less))
                if there[1] <= target:
                    fewer.append((there[2], less, there))
        if not fewer:
            break
        _, numbers, now = min(fewer, key=lambda f: f[0])
        path[-1] = (family.plan(numbers), now[1], now[2])
    return path


def richardson(problem: Problem, path: list[tuple[Plan, float, int]], target: float) -> tuple[Plan, float] | None:
    """Return the coarsest plan, and the order, whose extrapolation is within the target, as is the next one's.

    The second condition keeps out lucky zeros of the error; None where no plan of the path does.
    """
    good: dict[float, list[bool]] = {order: [] for order in ORDERS}
    plans = []
    for plan, error, unknowns in path:
        if error > 2e3 * target or 8 * unknowns > 3_000_000:
            continue
        plans.append(plan)
        coarse, fine = problem.discrete(plan)[0], problem.discrete(plan.times(2))[0]
        for order in ORDERS:
            good[order].append(problem.error(fine + (fine - coarse) / (2**order - 1)) <= target)
        for order in ORDERS:
            if len(plans) > 1 and good[order][-2] and good[order][-1]:
                return plans[-2], order
    return None


# ---------------------------------------------------------------------------------------------------- runs


def _child(queue: Any, name: str, plan: Plan, discrete: np.ndarray | None, within: float, degree: int) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (int(MEMORY), int(MEMORY)))
    try:
        queue.put(run(Problem(name), plan, discrete, within, degree, PATIENCE))
    except MemoryError:
        queue.put({"failed": "memory"})


def measured(name: str, plan: Plan, within: float, degree: int = 2) -> dict[str, Any]:
    """Return `run` in a process of its own within 8 GB and ten minutes, or why it failed."""
    discrete = Problem(name).discrete(plan)[0] if degree == 2 else None
    context = multiprocessing.get_context("spawn")
    queue = context.Queue()
    process = context.Process(target=_child, args=(queue, name, plan, discrete, within, degree))
    process.start()
    begun = time.perf_counter()
    result: dict[str, Any] = {"failed": "time"}
    while time.perf_counter() - begun < 2 * SECONDS:
        if not queue.empty():
            result = queue.get()
            break
        if not process.is_alive() and queue.empty():
            result = {"failed": "memory"}
            break
        time.sleep(0.05)
    if process.is_alive() and "failed" in result:
        process.kill()
    process.join()
    return result


def fitted(runs: list[dict[str, Any]], unknowns: float) -> tuple[float, float]:
    """Return time [s] at a number of unknowns by time ∝ unknowns^b through the largest run, and b ≥ 1."""
    n, t = (np.log([r[k] for r in runs]) for k in ("unknowns", "seconds"))
    b = max(1.0, float(np.polyfit(n, t, 1)[0])) if len(runs) > 1 else 1.0
    return float(np.exp(t[-1] + b * (np.log(unknowns) - n[-1]))), b


def unknowns_at(path: list[tuple[Plan, float, int]], target: float) -> int:
    """Return the unknowns for just the target, by a power of the unknowns.

    Between the last two meshes; where the last is not within the target, beyond it by the fall of the error over the
    last factor of three (or more) in unknowns.
    """
    _, e2, n2 = path[-1]
    far = [(e, n) for _, e, n in path[:-1] if e2 < target or n < n2 / 3]
    if not far:
        return n2
    e1, n1 = far[-1]
    order = np.log(e1 / e2) / np.log(n2 / n1)
    return int(n2 * (e2 / target) ** (1 / order)) if e1 > target and order > 0 else n2


def cost(name: str, path: list[tuple[Plan, float, int]], target: float) -> dict[str, Any]:
    """Return the run of the last plan of a path, or its extrapolation from the largest meshes that can be run."""
    plan, unknowns = path[-1][0], unknowns_at(path, target)
    result = {"failed": "memory"} if PER_UNKNOWN * unknowns > MEMORY else measured(name, plan, CLOSE * target)
    if "failed" not in result:
        return result
    runs: list[dict[str, Any]] = []
    for other, error, n in reversed(path[:-1]):
        if n < 0.7 * unknowns and n < FITTED:
            again = measured(name, other, CLOSE * error)
            runs = runs if "failed" in again else [again, *runs]
            unknowns_of = [r["unknowns"] for r in runs]
            if len(runs) == 3 or (runs and min(unknowns_of) < 0.2 * max(unknowns_of)):
                break
    seconds, b = fitted(runs, unknowns)
    return {
        "extrapolated": result["failed"], "unknowns": unknowns, "seconds": seconds, "exponent": b,
        "us_per_unknown": 1e6 * seconds / unknowns, "fitted_to": [short(r) for r in runs],
    }  # fmt: skip


def short(result: dict[str, Any]) -> dict[str, Any]:
    """Return a run without its influence matrix."""
    return {k: v for k, v in result.items() if k != "influence"}


def extrapolated_pair(problem: Problem, name: str, plan: Plan, order: float, target: float) -> dict[str, Any]:
    """Return the cost of a mesh and the one twice as fine, and the error after Richardson extrapolation."""
    results = []
    for p in (plan, plan.times(2)):
        if PER_UNKNOWN * problem.discrete(p)[1] > MEMORY:
            return {"failed": "memory", "plan": plan.to_dict(), "order": order}
        results.append(measured(name, p, CLOSE * target))
        if "failed" in results[-1]:
            return {"failed": results[-1]["failed"], "order": order}
    coarse, fine = (np.array(r["influence"]) for r in results)
    columns = min(coarse.shape[1], fine.shape[1])
    coarse, fine = coarse[:, :columns], fine[:, :columns]
    return {
        "plan": plan.to_dict(), "order": order, "error": problem.error(fine + (fine - coarse) / (2**order - 1)),
        "seconds": sum(r["seconds"] for r in results), "runs": [short(r) for r in results],
    }  # fmt: skip


def linear(problem: Problem, name: str, plan: Plan, target: float) -> dict[str, Any]:
    """Return what linear elements cost: runs on refinements of a coarse plan, and powers fitted to the last two."""
    runs = []
    for factor in (2, 3, 4):
        runs.append(measured(name, plan.times(factor), np.inf, 1))
        if "failed" in runs[-1]:
            runs.pop()
            break
    (n1, e1, t1), (n2, e2, t2) = ([np.log(r[k]) for k in ("unknowns", "error", "seconds")] for r in runs[-2:])
    order, b = (e1 - e2) / (n2 - n1), max(1.0, (t2 - t1) / (n2 - n1))
    n = n2 + (e2 - np.log(target)) / order
    return {
        "runs": [short(r) for r in runs], "order_in_unknowns": float(order), "exponent": float(b),
        "unknowns": float(np.exp(n)), "seconds": float(np.exp(t2 + b * (n - n2))), "extrapolated": "model",
    }  # fmt: skip


def study(name: str, say: Any) -> dict[str, Any]:
    """Return everything about one stack."""
    problem, own = Problem(name), layered_row(name)
    target = max(own["error"], own["reference_error"])
    say(f"\n{name}: layered error {own['error']:.1e} (reference {own['reference_error']:.1e}), {own['unknowns']} "
        f"unknowns, {own['seconds'] * 1e3:.1f} ms, {own['flop']:.1e} flop")  # fmt: skip
    paths = {power: search(Family(problem, power), target) for power in POWERS}
    for power, path in paths.items():
        say(f"  grading {power}: {path[-1][2]} unknowns, error {path[-1][1]:.1e}; wanted {unknowns_at(path, target)}")
    ends = sorted((unknowns_at(path, target), power) for power, path in paths.items())
    runs = {}
    for unknowns, power in ends:
        if unknowns <= 1.6 * ends[0][0] and (unknowns < LARGE or power == min(POWERS)):
            runs[power] = cost(name, paths[power], target)
            say(f"    {_line(runs[power])}")
    if not runs:
        unknowns, power = ends[0]
        runs[power] = cost(name, paths[power], target)
    power = min(runs, key=lambda p: runs[p]["seconds"])
    best = runs[power]
    pairs = {p: richardson(problem, path, target) for p, path in paths.items()}
    sized = [(problem.discrete(r[0].times(2))[1], r) for r in pairs.values() if r]
    second: dict[str, Any] = {"failed": "no extrapolation of the path is within the target"}
    if sized:
        second = extrapolated_pair(problem, name, *min(sized, key=lambda s: s[0])[1], target)
        say(f"    Richardson: {second.get('seconds', second.get('failed'))} s, error {second.get('error')}")
    own |= layered_cost(*stacks.STACKS[name]()[:2])  # again, next to the runs it is compared with
    out = {
        "target": target, "share": problem.share, "layered": own, "plan": paths[power][-1][0].to_dict(),
        "searched": {str(p): {"unknowns": path[-1][2], "error": path[-1][1], "wanted": unknowns_at(path, target)} for p, path in paths.items()},
        "path": [[n, e] for _, e, n in paths[power]], "quadratic": short(best), "richardson": second,
        "ratio": best["seconds"] / own["seconds"],
        "richardson_ratio": second["seconds"] / own["seconds"] if "seconds" in second else None,
    }  # fmt: skip
    if name in LINEAR:
        coarse = [plan for plan, _, n in paths[power] if n < 8000][-1]
        out["linear"] = linear(problem, name, coarse, target)
    say(f"  ratio {out['ratio']:.0f}, with Richardson {out['richardson_ratio']}")
    return out


def _line(r: dict[str, Any]) -> str:
    if "assembly_s" not in r:
        return f"{r['unknowns']} unknowns, {r['seconds']:.1f} s extrapolated ({r['extrapolated']})"
    return (f"{r['unknowns']} unknowns, {r['nonzeros']} nonzeros, {r['iterations']:.0f} iterations at "
            f"{r['tolerance']:g}: {r['assembly_s']:.1f} + {r['setup_s']:.1f} + {r['solve_s']:.1f} s, "
            f"{r['peak_memory_GB']:.1f} GB, error {r['error']:.1e} {r['extrapolated']}")  # fmt: skip


def table(results: dict[str, dict[str, Any]]) -> str:
    """Return the results, a line a stack; * marks times that were extrapolated."""
    head = (f"{'stack':18}{'error':>9}{'unknowns':>9}{'modes':>8}{'ms':>8}{'Mflop':>7} |{'unknowns':>9}{'nnz/1e6':>8}"
            f"{'iter':>6}{'s':>9}{'us/unk':>8}{'Gflop':>7}{'ratio':>8} |{'Rich. s':>8}{'ratio':>8}")  # fmt: skip
    lines = [head]
    for name, r in results.items():
        own, q, second = r["layered"], r["quadratic"], r["richardson"]
        mark = "*" if q.get("extrapolated") else " "
        flop = f"{(q['assembly_flop'] + q['solve_flop']) / 1e9:7.1f}" if "solve_flop" in q else f"{'':7}"
        nonzeros = f"{q['nonzeros'] / 1e6:8.2f}{q['iterations']:6.0f}" if "nonzeros" in q else f"{'':14}"
        line = (f"{name:18}{r['target']:9.1e}{own['unknowns']:9d}{own['modes']:8d}{own['seconds'] * 1e3:8.1f}"
                f"{own['flop'] / 1e6:7.1f} |{q['unknowns']:9d}{nonzeros}{q['seconds']:8.1f}{mark}"
                f"{q['us_per_unknown']:8.0f}{flop}{r['ratio']:8.0f} |")  # fmt: skip
        if "seconds" in second:
            line += f"{second['seconds']:8.1f}{r['richardson_ratio']:8.0f}"
        lines.append(line)
    return "\n".join(lines)


def main(names: list[str]) -> None:
    constant = [n for n in stacks.STACKS if "influence" in stored(n)]
    unknown = [n for n in names if n not in constant]
    if unknown:
        raise SystemExit(f"no stack of constant conductivity named {', '.join(unknown)}: {', '.join(constant)}")
    if os.environ.get("OMP_NUM_THREADS") != "1" or os.environ.get("OPENBLAS_NUM_THREADS") != "1":
        raise SystemExit("set OMP_NUM_THREADS=1 and OPENBLAS_NUM_THREADS=1: the comparison is of one thread with one")
    packages = ("numpy", "scipy", "scikit-fem", "pyamg")
    for name in names or constant:
        result = study(name, lambda line: print(line, flush=True))
        data = json.loads(PATH.read_text(encoding="utf-8")) if PATH.exists() else {"stacks": {}}
        data["versions"] = {p: version(p) for p in packages} | {"python": platform.python_version()}
        data["stacks"][name] = result
        data["stacks"] = {n: data["stacks"][n] for n in constant if n in data["stacks"]}
        part = PATH.with_suffix(".part")
        part.write_text(json.dumps(data, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        part.replace(PATH)
    print("\n" + table(data["stacks"]))


if __name__ == "__main__":
    main(sys.argv[1:])
