"""A share of the study of the check, run again; and what its stored whole says."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).parent))  # the studies are scripts

import check_study as study

pytestmark = pytest.mark.study


def stored(what):
    return json.loads((study.RESULTS / f"check_{what}.json").read_text(encoding="utf-8"))


def test_p_is_uniform_where_there_is_no_cause():
    """2,000 pairs: Kolmogorov and Smirnov's test at 1 %, and the share below 0.05 within its binomial 99 % band."""
    none = stored("none")
    assert none["pairs"] == 2000
    assert none["ks_p"] > 0.01
    low, high = binom.interval(0.99, 2000, 0.05)
    assert low <= none["below_0.05"] * 2000 <= high


def test_what_was_planted_is_found():
    """The figures that were asked for: of pairs with d′ of 4 or more (alike many of each cause), and of those below 2."""
    clear, planted = stored("planted_clear"), stored("planted")
    assert clear["clear_pairs"] >= 150
    assert clear["clear_group_first"] >= 0.80
    assert clear["clear_group_first_two"] >= 0.95
    assert clear["clear_group_size"] <= 3.0
    assert planted["faint_pairs"] >= 150
    assert planted["faint_cannot_tell"] >= 0.90
    assert planted["described_cannot_tell"] >= 0.90


def test_first_places_are_those_of_the_exact_twin():
    """The mean over causes within 3 points, and what the number of pairs leaves open (two standard errors)."""
    second, exact = (stored(name)["by_cause"] for name in ("planted_clear", "twin_clear"))
    both = [
        name for name in exact if name in second and min(exact[name]["clear_pairs"], second[name]["clear_pairs"]) >= 10
    ]
    assert len(both) >= 9
    share = [np.array([each[name]["first"] for name in both]) for each in (second, exact)]
    pairs = [np.array([each[name]["clear_pairs"] for name in both]) for each in (second, exact)]
    error = np.sqrt(sum(np.sum(p * (1 - p) / n) for p, n in zip(share, pairs, strict=True))) / len(both)
    assert abs(share[0].mean() - share[1].mean()) <= 0.03 + 2 * error


def test_stated_probabilities_are_reliable():
    for fifth in stored("planted")["stated_mean_and_true_share_by_fifth"]:
        said, true, count = fifth
        assert count >= 20
        assert abs(said - true) <= 0.1


def test_expected_information_is_realised():
    information = stored("information")
    assert abs(information["ratio"] - 1) <= 0.2


def test_neglected_cross_terms_are_small():
    """A cause's effect with other inputs than the central ones, relative to it at its usual size.

    A tenth for what is even over a joint; a quarter, of effects below 1 K, for voids and the lid's thickness.
    """
    rows = stored("neglect")["relative_rms_and_effect_K"]
    for name, (share, kelvin) in rows.items():
        local = any(word in name for word in ("void", "dry", "lid thickness"))
        assert share <= (0.3 if local else 0.1), name
        assert share * kelvin <= 0.5, name


def test_a_share_comes_out_again():
    """The first pairs of some causes, and the first p without a cause, as they are stored."""
    bench = study.Bench()
    again = study.none(bench, 3)["first"]
    assert again == pytest.approx(stored("none")["first"][:3], abs=1e-3)
    names = ["paste badly seated before", "power-meter error or change", "as described"]
    rows = study.compact(study.planted(bench, 2, names=names))
    kept = stored("planted")["rows"]
    for name in names:
        old, new = ([row for row in each if row[0] == name][:2] for each in (kept, rows))
        for a, b in zip(old, new, strict=True):
            assert b[1] == pytest.approx(a[1], rel=0.02, abs=0.02), "d′"
            assert b[2] == pytest.approx(a[2], abs=2e-3), "p"
            assert b[3:] == a[3:], "place and what was pointed to"
