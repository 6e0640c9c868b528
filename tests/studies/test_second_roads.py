"""The layered solution against two-dimensional sections: a strip is the same problem, a round equivalent a near one."""

import numpy as np
import pytest

import thermostack as ts
from thermostack.model import model_of
from thermostack.solvers.layered import layered
from thermostack.solvers.sections import axisymmetric, strip

DEPTH = "20 mm"


def strip_stack(**changes):
    """An invented stack whose footprints all have one depth along y, which makes it a two-dimensional problem."""
    given = {
        "joint": ts.Interface("joint", resistance="5 mm^2*K/W"),
        "power": "120 W",
        "die_at": "0 mm",
        "plate": "50 mm",
        "board": None,
    } | changes
    die = ts.Die("die", ts.Material.of("die of the study", 115.0), "0.72 mm", ("12 mm", DEPTH), given["power"],
                 given["joint"], centre=(given["die_at"], "0 mm"))  # fmt: skip
    metal = ts.Material.of("plate of the study", 390.0)
    return ts.Stack("strip", die, [
        ts.Layer("lid", metal, "2.4 mm", ("36 mm", DEPTH)),
        ts.Interface("paste", resistance="12 mm^2*K/W"),
        ts.Layer("cold plate", metal, "3 mm", (given["plate"], DEPTH)),
    ], ts.Coolant("25 degC", conductance="30 kW/m^2/K"), board=given["board"])  # fmt: skip


CASES = {
    "centred": {},
    "off-centre": {"die_at": "9 mm"},
    "region": {"power": ts.PowerMap("120 W", [ts.Region("hot", "60 W", ("2 mm", "0 mm"), ("3 mm", DEPTH))])},
    "narrower plate": {"plate": "28 mm"},
    "void": {
        "joint": ts.Interface("joint", resistance="5 mm^2*K/W", patches=[
            ts.Patch("void", ("0 mm", "0 mm"), ("3 mm", DEPTH), "960 mm^2*K/W")])
    },
    "board": {"board": ts.Board("20 K/W")},
    "liquid metal": {"joint": ts.Interface("joint", resistance="1.6 mm^2*K/W")},
}  # fmt: skip


@pytest.mark.parametrize("changes", CASES.values(), ids=CASES.keys())
def test_a_strip_is_its_section(changes):
    model = model_of(strip_stack(**changes))
    arrays = model.arrays()
    flat, deep = strip(model.graph, arrays), layered(model.graph, arrays)
    means = [index for key, index in model.probes.items() if key[0] in ("mean", "contact", "face")]
    away = deep.influence[0, means] / flat.influence[0, means] - 1
    assert np.abs(away).max() < 5e-4, "0.05 % is the target"
    own = [index for key, index in model.probes.items() if key[0] == "mean"]
    assert np.abs(deep.influence[0, own] / flat.influence[0, own] - 1).max() < 1e-4
    assert deep.flow[0] == pytest.approx(flat.flow[0], abs=2e-3 if "joint" in changes else 1e-5)


@pytest.mark.parametrize("which", ["soldered", "relid", "bare"])
def test_round_equivalents_are_near(which, request):
    model = model_of(request.getfixturevalue(which))
    arrays = model.arrays()
    disks, squares = axisymmetric(model.graph, arrays), layered(model.graph, arrays)
    for probe in (("mean", "die"), ("centre", "die")):
        index = model.probes[probe]
        assert disks.influence[0, index, 0] == pytest.approx(squares.influence[0, index, 0], rel=0.02)
    # they are not the same problem: equal to 0.1 % would mean that one of them is not what it says
    mean = model.probes["mean", "die"]
    assert abs(disks.influence[0, mean, 0] / squares.influence[0, mean, 0] - 1) > 1e-3
