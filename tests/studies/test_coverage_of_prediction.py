"""A share of the coverage study of predictions, run again; and what its stored whole says."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom, binomtest

sys.path.insert(0, str(Path(__file__).parent))  # the studies are scripts

import coverage_of_prediction as study

pytestmark = [
    pytest.mark.study,
    # far out in the tails of what was described, as the search for a posterior goes
    pytest.mark.filterwarnings("ignore::thermostack.errors.ThermostackWarning"),
]
STORED = json.loads(study.RESULTS.read_text(encoding="utf-8"))
ALIKE = 0.05


def test_the_whole_has_2000_parts():
    assert sum(row["parts"] for row in STORED.values()) == 2000
    for name, kind in study.kinds().items():
        assert STORED[name]["parts"] == kind.parts
        drawn = study.truth(kind, 2, 1).inputs
        assert set(STORED[name]["quantities"]) == {*drawn, "drop", "junction before"}


@pytest.mark.parametrize("which", [0, 1], ids=["intervals hold the truth", "ranks are uniform"])
def test_the_whole_covers(which):
    """Exact binomial (χ² of ranks in twenty bins) p-values of every quantity, after Holm none below 5 %."""
    p = study.p_values(STORED)
    adjusted = study.holm([each[which] for each in p.values()])
    assert adjusted.min() >= ALIKE, list(p)[int(np.argmin(adjusted))]


def test_drops_of_all_kinds_together():
    inside = sum(row["quantities"]["drop"]["inside"] for row in STORED.values())
    assert binomtest(inside, 2000, 0.95).pvalue >= ALIKE
    for row in STORED.values():  # nor are they wide for nothing: calibrated, they are no wider than the truths scatter
        assert row["median_width_of_drop_K"] <= 1.1 * 2 * 1.96 * row["sd_of_true_drop_K"]


def test_holm_and_the_band_can_fail():
    np.testing.assert_allclose(study.holm([0.01, 0.04, 0.03]), [0.03, 0.06, 0.06])
    bad = json.loads(json.dumps(STORED))
    row = bad["relid, no spreading, one-dimensional"]
    row["quantities"]["drop"]["inside"] = round(0.90 * row["parts"])
    assert study.holm([each[0] for each in study.p_values(bad).values()]).min() < ALIKE


@pytest.mark.parametrize("name", list(study.kinds()))
def test_a_share_again(name):
    """Two parts of each kind, of a seed of their own: of all quantities about 95 % inside, no rank at an end."""
    kind = study.kinds()[name]
    found = study.run(kind, 2, 7)
    rows = found["quantities"].values()
    inside, asked = sum(row["inside"] for row in rows), 2 * len(rows)
    # quantities of one part are not independent: a tenth of them counts
    fewer = int(binom.ppf(1e-4, max(asked // 3, 1), 0.95))
    assert inside >= asked * fewer / max(asked // 3, 1)
    assert found["quantities"]["drop"]["inside"] >= 1  # both outside: 1 in 400
