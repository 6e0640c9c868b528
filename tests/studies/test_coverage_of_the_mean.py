"""A share of the coverage study, run again; and what its stored whole says."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))  # the studies are scripts

import coverage_of_the_mean as study

pytestmark = pytest.mark.study
STORED = json.loads(study.RESULTS.read_text(encoding="utf-8"))


def test_the_whole_has_2000_logs_and_covers():
    """Each kind, and all of them together, in the exact binomial 99 % band about 95 %."""
    assert sum(row["logs"] for row in STORED.values()) == 2000
    assert set(STORED) == set(study.kinds())
    total = kept = 0
    for name, row in STORED.items():
        low, high = study.band(row["logs"] - row["refused"])
        assert low <= row["inside"] <= high, name
        total, kept = total + row["inside"], kept + row["logs"] - row["refused"]
    low, high = study.band(kept)
    assert low <= total <= high


def test_means_are_not_biased():
    """The mean score of each kind within three standard errors of zero."""
    for name, row in STORED.items():
        kept = row["logs"] - row["refused"]
        assert abs(row["mean_score"]) <= 3 * row["sd_score"] / np.sqrt(kept), name


@pytest.mark.parametrize(("number", "name"), list(enumerate(STORED)))
def test_a_share_again(number, name):
    """Twelve logs of each kind: at most three outside (at 95 % more would be outside in 2 of 1,000 such shares)."""
    kind = study.kinds()[name]
    scores = [study.score(*kind, 100_000 * number + i) for i in range(12)]
    kept = [abs(s[0]) for s in scores if s is not None]
    assert len(kept) >= 11
    assert sum(score > 1.96 for score in kept) <= 3
    assert np.sqrt(np.mean(np.square(kept))) > 0.4  # nor are the uncertainties far too large
