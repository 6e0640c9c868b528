"""A share of the study of the check, run again; and what its stored whole says."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom, kstest

sys.path.insert(0, str(Path(__file__).parent))  # the studies are scripts

import check_logs
import check_study as study

from thermostack.checking.scored import PATTERN

pytestmark = pytest.mark.study

LISTED = 15
"""Named causes of the part; besides them stand as described and something not listed."""


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
    """The figures that were asked for: of pairs with d′ of 4 or more, and of those below 2; 200 of each from its prior."""
    planted = stored("planted")
    assert [row["planted"] for row in planted["by_cause"].values()] == [200] * (LISTED + 2)
    assert planted["clear_pairs"] >= 300
    assert planted["clear"]["first"] >= 0.80
    assert planted["clear"]["first_two"] >= 0.95
    assert planted["clear"]["group_size"] <= 3.0
    assert planted["faint_cannot_tell"] >= 0.90
    assert planted["described_cannot_tell"] >= 0.90


def test_first_places_are_those_of_the_exact_twin():
    """Over all clear pairs, and the mean over the causes that have ten or more in both."""
    whole = [stored(name)["clear"]["first"] for name in ("planted", "twin")]
    assert abs(whole[0] - whole[1]) <= 0.03
    second, exact = (stored(name)["by_cause"] for name in ("planted", "twin"))
    named = [n for n in exact if n not in (study.DESCRIBED, study.UNLISTED)]
    both = [n for n in named if min(exact[n]["clear_pairs"], second[n]["clear_pairs"]) >= 10]
    assert len(both) >= 6
    share = [np.mean([each[n]["first"] for n in both]) for each in (second, exact)]
    assert abs(share[0] - share[1]) <= 0.03


def test_stated_probabilities_are_reliable():
    for fifth in stored("planted")["stated_mean_and_true_share_by_fifth"]:
        said, true, count = fifth
        assert count >= 50
        assert abs(said - true) <= 0.1


def test_expected_information_is_realised():
    information = stored("information")
    assert information["pairs"] >= 240
    assert abs(information["ratio"] - 1) <= 0.2


def test_laplaces_approximation_says_what_samples_say():
    """The study asks Laplace's approximation alone: it is quicker, and nearly the same."""
    laplace = stored("laplace")
    assert laplace["first_alike"] >= 0.97
    assert laplace["pointed_alike"] >= 0.95
    assert laplace["probability_off"]["0.9"] <= 0.05


def test_what_effects_neglect_is_another_size():
    """By the second model with other inputs: an effect differs as a whole, and beside that by what is taken as doubt."""
    rows = stored("neglect")["rows"]
    for name, row in rows.items():
        assert 0.5 < row["factor"] < 1.5, name
        assert row["left"] <= 0.08, name
        assert row["left"] * row["effect_K"] <= 0.1, name
    assert np.sqrt(np.mean([row["left"] ** 2 for row in rows.values()])) <= PATTERN


def test_a_share_comes_out_again():
    """The first pairs of some causes, and the first p without a cause, as they are stored."""
    bench = study.Bench()
    again = study.none(bench, 2000, (0, 700))
    assert [p for _, p in again][:2] == pytest.approx([stored("none")["every_50th"][k] for k in (0, 14)], abs=2e-3)
    names = ["paste badly seated before", "power-meter error or change", "as described"]
    rows = study.compact(study.planted(bench, 200, (0, 5), draws=0, clear=False, own=False, names=names, most=6))
    kept = {(row[0], row[1]): row for row in stored("planted")["rows"]}
    assert len(rows) == 6
    for row in rows:
        old = kept[row[0], row[1]]
        assert row[2] == pytest.approx(old[2], rel=0.02, abs=0.02), "d′"
        assert row[3] == pytest.approx(old[3], abs=3e-3), "p"
        assert row[4:] == old[4:], "place and what was pointed to"


def test_by_way_of_logs():
    """Logs in CSV, steady readings, causes with samples: 240 pairs, 48 of them as described."""
    logs = stored("logs")
    assert logs["pairs"] == 12 * (LISTED + 1) + 48
    assert logs["described_cannot_tell"] >= 0.90
    assert kstest(logs["described_p"], "uniform").pvalue > 0.01
    assert logs["clear_pairs"] >= 30
    assert logs["clear"]["first"] >= 0.80
    assert logs["clear"]["first_two"] >= 0.95
    assert logs["clear"]["pointed_wrongly"] <= 0.02
    assert logs["faint_cannot_tell"] >= 0.90


def test_one_of_the_logs_again(tmp_path):
    bench = check_logs.study.Bench(check_logs.reading)
    c = bench.names.index("thicker or cracked first joint")
    (row,) = study.compact([check_logs.asked(bench, c, 0, tmp_path)])
    (old,) = (each for each in stored("logs")["rows"] if each[:2] == row[:2])
    assert row[2] == pytest.approx(old[2], rel=0.02)
    assert row[3] == pytest.approx(old[3], abs=3e-3)
    assert row[4:] == old[4:]
