"""The layered solver against the flux-channel series of Yovanovich, Muzychka and Culham, every row of the reference.

Rows RECT-* of data/verification.csv: sums of 5000 x 5000 terms, held to 1e-6 there and checked by extrapolated
quadratic finite elements (see the source column). The formulas of 1999 and 2003 are published from memory; the numbers
were computed.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from thermostack.solvers.graph import ENVIRONMENT, Arrays, Contact, Graph, Probe, Source
from thermostack.solvers.layered import LayeredSettings, layered, layered_field

ROWS = [
    row
    for row in csv.DictReader((Path(__file__).parent / "data" / "verification.csv").read_text("utf-8").splitlines())
    if row["case_id"].startswith("RECT-") and row["quantity"] in ("R_total_mean", "R_total_centre", "R_1D")
]
CASES = sorted({row["case_id"] for row in ROWS})
RAISED = LayeredSettings(depth=10.0, waves=120.0, least_waves=30.0, largest=1000)


def value(case, quantity):
    return next(float(r["value"]) for r in ROWS if r["case_id"] == case and r["quantity"] == quantity)


def channel(case):
    """One block; the source lies on its lower face."""
    x = json.loads(next(r["inputs_json"] for r in ROWS if r["case_id"] == case))
    t, k = np.array(x["layers_t_k"]).T
    joints = np.append(x.get("R_contact", np.zeros(len(t) - 1)), 0.0)
    source = [x["xc"] - x["src_x"] / 2, x["yc"] - x["src_y"] / 2, x["xc"] + x["src_x"] / 2, x["yc"] + x["src_y"] / 2]
    whole = [0.0, 0.0, x["Lx"], x["Ly"]]
    graph = Graph(
        (len(t),),
        (Contact(0, ENVIRONMENT),),
        (Source(0),),
        (Probe(0, 0), Probe(0, 0), Probe(0, 0)),
    )
    arrays = Arrays(
        size=np.array([[whole[2:]]]),
        centre=np.array([[whole[2:]]]) / 2,
        thickness=t[None],
        k_through=k[None],
        k_in_plane=k[None],
        r_above=joints[None],
        contact_rect=np.array([[whole]]),
        contact_r=np.array([[1.0 / x["h"]]]),
        source_rect=np.array([[source]]),
        probe_rect=np.array([[source, [x["xc"], x["yc"]] * 2, whole]]),
    )
    return graph, arrays


@pytest.mark.parametrize("case", CASES)
def test_with_modes_raised(case):
    found = layered(*channel(case), RAISED).influence[0, :, 0]
    assert found[0] == pytest.approx(value(case, "R_total_mean"), rel=1e-6)
    assert found[1] == pytest.approx(value(case, "R_total_centre"), rel=1e-6)
    # the mean of the whole face is the series resistance, which the reference gives to 1e-12
    assert found[2] == pytest.approx(value(case, "R_1D"), rel=1e-9)


@pytest.mark.parametrize("case", CASES)
def test_default_settings_and_their_estimate(case):
    found = layered(*channel(case))
    exact = np.array([value(case, "R_total_mean"), value(case, "R_total_centre")])
    gap = np.abs(found.influence[0, :2, 0] - exact)
    assert (gap < 2e-5 * exact).all()
    assert (gap <= found.error[0, :2, 0] + 1e-6 * exact).all()


def test_equal_layers_are_one_layer():
    """C6 is R1 in two parts."""
    one, two = (layered(*channel(c)).influence[0, :2, 0] for c in ("RECT-R1", "RECT-C6"))
    np.testing.assert_allclose(one, two, rtol=5e-6)


def test_rate_of_convergence_with_the_modes():
    """Sums end at γ t = depth; what a half-space misses beyond falls like exp(−2 γ t)."""
    errors = []
    for depth in (0.7, 1.4, 2.1):
        settings = LayeredSettings(depth=depth, waves=1e3, least_waves=1e-3, largest=1000)
        gaps = [
            layered(*channel(c), settings).influence[0, 0, 0] / value(c, "R_total_mean") - 1.0
            for c in ("RECT-C4", "RECT-C5", "RECT-M1")
        ]
        errors.append(np.max(np.abs(gaps)))
    assert errors[1] < errors[0] / 2.5
    assert errors[2] < errors[1] / 2.5
    assert errors[2] < 1e-4


@pytest.mark.parametrize("case", ["RECT-R3", "RECT-E4", "RECT-M3"])
def test_field_at_the_centre_of_the_source(case):
    graph, arrays = channel(case)
    x, y = arrays.probe_rect[0, 1, :2]
    found = layered_field(graph, arrays, [1.0]).rise(0, 0, np.array([x]), np.array([y]))
    assert found[0, 0] == pytest.approx(value(case, "R_total_centre"), rel=2e-5)
