"""What the sensors of the invented demo part stand above the coolant per watt, by quadratic finite elements.

    python tests/studies/demo_resistances.py [cells]

Writes examples/demo/resistances.json, from which examples/generate_demo.py makes logs. The true part differs from what
examples/demo/part.toml describes, and each story plants one cause. The check knows neither: it solves with series, and
what is solved here are finite elements (`tensor_fem`), the die's conductivity by the local temperature (`local_k`). The
rise is solved at half and at full power and written as R P + B P². There is no randomness.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
from local_k import solve_local_k
from tensor_fem import Mesh, Stack

import thermostack as ts
from thermostack.model import model_of
from thermostack.operating import operate
from thermostack.solvers import solver_named

DEMO = Path(__file__).parents[2] / "examples" / "demo"
CELLS, GRADING = 2, 3.0
CORES = ("core a", "core b", "core c", "core d")

TRUE = {
    "die.thickness": "0.71 mm",
    "die.power": "210 W",
    "coolant.conductance": "33 kW/m^2/K",
}
"""Of the part, as nobody at the bench knows it; all else is as described."""
SOLDER = {"bond_line": "0.28 mm", "conductivity": "65 W/m/K", "contact": "0.8 mm^2*K/W"}
PASTE, LIQUID_METAL = 13.0, 2.0
"""Specific resistances of usual mounts. [mm²·K/W]"""
MOUNTS = {"before": (1.03, 0.95), "after": (0.98, 1.06)}
"""Factors of the paste's resistance, mount by mount."""
VOID, AIR = 0.05, 9600.0
"""Story *too large*: share of the die below core b that the solder never bonded, and the gap's resistance [mm²·K/W]."""
RIM, METAL = 140.0, 23.0
"""Story *too small*: by how much the lid stands on its rim after the relid [µm], and what fills it [W/(m K)]."""


def true_stack(story: str, state: str, factor: float) -> ts.Stack:
    """Return the part as it really was in one mount of a state."""
    described, _ = ts.read_variants(DEMO / "part.toml")
    stack = described.change(TRUE)
    if state == "before":
        patches = []
        if story == "too-large":
            width, height = (side * VOID**0.5 for side in (12.4, 17.6))
            size = (f"{width:.4f} mm", f"{height:.4f} mm")
            patches = [
                ts.Patch("gap", corner=(f"{12.4 - width:.4f} mm", "0 mm"), size=size, resistance=f"{AIR} mm^2*K/W")
            ]
        joint = ts.Interface("solder", "indium solder", **SOLDER, patches=patches)
    else:
        joint = ts.Interface(
            "solder", resistance=f"{LIQUID_METAL + (RIM / METAL if story == 'too-small' else 0):.4f} mm^2*K/W"
        )
    stack = stack.swap("solder", [joint])
    return stack.swap("paste", [ts.Interface("paste", resistance=f"{PASTE * factor:.4f} mm^2*K/W")])


def rises(stack: ts.Stack, cells: int) -> np.ndarray:
    """Return the rise of each core's mean over the coolant, at the power described. [K]"""
    model = model_of(stack)
    point = operate(model, solver_named("layered"))
    die = stack.dies[0]
    law, k_ref = die.material.law, float(np.squeeze(model.values()("die.conductivity")))
    assert law.kind == "power"
    elements = Stack(point.graph, point.arrays, Mesh.of(point.graph, point.arrays, cells, cells, GRADING))
    block = point.graph.block_of_slab[model.slab_of_die("die")]
    told = {"k_ref": k_ref, "T_ref_K": law.reference, "exponent": law.exponent}
    solved = solve_local_k(elements, block, told, float(point.coolant[0]), point.power[0], tol=1e-8)
    return np.array([solved["probes"][model.probes["mean", core]] for core in CORES])


def resistances(stack: ts.Stack, cells: int = CELLS) -> dict[str, list[float]]:
    """Return R [K/W] and B [K/W²] of each core, with which its mean stands R P + B P² over the coolant."""
    half, full = rises(stack.change("die.power", "105 W"), cells), rises(stack, cells)
    bend = (full / 210 - half / 105) / 105
    return {
        core: [round(float(r), 8), round(float(b), 10)]
        for core, r, b in zip(CORES, full / 210 - bend * 210, bend, strict=True)
    }


def main(cells: int) -> None:
    found: dict[str, Any] = {
        "about": "invented; each core stands R P + B P² over the coolant: R [K/W], B [K/W²], by finite elements "
        "(tests/studies/demo_resistances.py)",
        "cells": cells,
    }
    for story in ("too-large", "too-small"):
        found[story] = {
            state: [resistances(true_stack(story, state, factor), cells) for factor in MOUNTS[state]]
            for state in ("before", "after")
        }
        print(story, json.dumps(found[story], indent=1))
    (DEMO / "resistances.json").write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else CELLS)
