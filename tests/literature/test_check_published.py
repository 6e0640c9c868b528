"""The check against published formulae, and against what the trade takes for granted."""

import math
from functools import cache

import numpy as np
import pytest
from scipy import integrate

import thermostack as ts
from thermostack.checking import check, expected_information
from thermostack.checking.formulas import comparison_error, en_number, two_sided_p, validation_uncertainty
from thermostack.states import State

# -- formulae


def test_comparison_error_and_its_uncertainty():
    """ASME V&V 20-2009: E = S − D, u_val² = u_num² + u_input² + u_D²; the worked numbers were made for this project."""
    assert comparison_error(96.0, 100.0) == -4.0
    assert validation_uncertainty(u_input=1.2, u_num=0.5, u_D=0.8) == pytest.approx(1.526433752, rel=1e-9)


def test_what_both_share_cancels():
    """ASME V&V 20-2009, section 5.3: an error that simulation and data share fully leaves nothing of itself in E."""
    assert validation_uncertainty(0.7, 0.0, 0.7, covariance=0.49) == 0.0
    assert validation_uncertainty(1.0, 0.0, 0.6, covariance=0.3) == pytest.approx(math.sqrt(0.76))


def test_en_number():
    """ISO/IEC 17043:2010, B.3.1.3: Eₙ = (x − X)/√(U_lab² + U_ref²); example made for this project."""
    assert en_number(10.05 - 10.0, 0.04, 0.03) == pytest.approx(1.0, rel=1e-9)
    assert en_number(-4.0, 2 * 1.526433752) == pytest.approx(-4.0 / (2 * 1.526433752))


def test_tail_probability():
    """(r + 1)/(n + 1), Davison and Hinkley 1997, 4.2.5, doubled: by hand."""
    samples = np.arange(1.0, 100.0)  # 99 of them
    assert two_sided_p(samples, 50.0) == 1.0
    assert two_sided_p(samples, 98.5) == pytest.approx(2 * 2 / 100)
    assert two_sided_p(samples, -5.0) == pytest.approx(2 * 1 / 100)


def test_information_of_a_binary_signal_in_noise():
    """Mutual information of ±1 in unit normal noise: 0.486 bit (capacity of binary signalling at 0 dB, from memory).

    By quadrature of its definition as well: 1 − E[log₂(1 + e^(−2y))], y normal about 1.
    """

    def density(y):
        return math.exp(-0.5 * (y - 1) ** 2) / math.sqrt(2 * math.pi) * math.log2(1 + math.exp(-2 * y))

    exact = 1 - integrate.quad(density, -12, 14, epsabs=1e-12)[0]
    assert exact == pytest.approx(0.486, abs=5e-4)
    found = expected_information([0.5, 0.5], [[-1.0], [1.0]], [[1.0]], [0, 1], draws=40000)
    assert found.nats / math.log(2) == pytest.approx(exact, abs=4 * found.error / math.log(2))
    assert found.error < 0.003


# -- practice: *common practice, no source*


def part():
    """A client part: 200 mm² die at 1 W/mm², soldered under a lid of copper, water block."""
    return ts.Stack(
        "client part",
        dies=[ts.Die("die", "silicon", "0.78 mm", ("14.142 mm", "14.142 mm"), "200 W",
                     ts.Interface("solder", "indium solder"))],
        layers=[
            ts.Layer("lid", "copper", "2.5 mm", ("36 mm", "36 mm")), ts.Interface("paste", "ceramic paste"),
            ts.Layer("cold plate", "copper", "3 mm", ("50 mm", "50 mm")),
        ],
        coolant=ts.Coolant("26 degC", conductance="35 kW/m^2/K (x/ 1.2)"),
    )  # fmt: skip


@cache
def relidded(drop, power_after=200.0):
    """Check a drop of the relidded part that three mounts agree on."""
    soldered = part()
    relid = soldered.replace("solder", ts.Interface("liquid metal", "gallium alloy")).named("relid")
    # what the drop has too much, the part was too hot before
    rise = float(ts.predict(soldered, "one-dimensional").mean.magnitude) - 26.0 + max(drop - 4.0, 0.0)

    def read(rise, power=200.0, **labels):
        return ts.Reading.of(
            {"die": f"{26 + rise} degC (sd 0.2 K)"}, power=f"{power} W (sd 1 W)", coolant="26 degC (sd 0.1 K)", **labels
        )

    after = (rise - drop) * power_after / 200.0
    mounts = [read(after + off, power_after, mount=str(i)) for i, off in enumerate((-0.2, 0.0, 0.2))]
    return check(State(soldered, read(rise, source="before")), State(relid, *mounts), solver="one-dimensional", draws=0)


def test_three_times_the_usual_drop_is_not_explained():
    """A soldered part relidded at 1 W/mm² brings 0 to 5 K; a repeatable 15 K is not explained by the described stack."""
    found = relidded(15.0)
    assert found.verdict.finding == "not explained"
    assert found.verdict.p < 0.01
    assert found.verdict.drop.measured == pytest.approx(15.0)
    best = {member.name for member in found.causes.groups[0].members}
    assert "as described" not in best
    assert found.causes["as described"].probability < 0.01
    assert found.causes["thicker or cracked first joint"].probability > 0.1, "reports above 15 K: delaminated solder"


@pytest.mark.parametrize("drop", [1.0, 3.0, 5.0])
def test_the_usual_drop_is_no_surprise(drop):
    """Solder to liquid metal under the lid: 0 to 5 K."""
    found = relidded(drop)
    assert found.verdict.finding != "not explained"
    assert 0.0 < found.verdict.drop.expected < 5.0
    assert found.causes.pointed_to is None


@pytest.mark.parametrize("share", [0.001, 0.005, 0.008])
def test_less_power_of_a_cooler_part_is_leakage(share):
    """Leakage is 0.1 to 0.8 % of the power a kelvin: so much less power after is no error, and moves no verdict."""
    same, less = relidded(4.0), relidded(4.0, power_after=200.0 * (1 - 4.0 * share))
    assert less.verdict.finding == same.verdict.finding
    assert less.verdict.drop.measured == pytest.approx(same.verdict.drop.measured)
    assert less.verdict.p == pytest.approx(same.verdict.p, abs=0.05)
    assert "more than leakage" not in less.leakage
    assert less.drop("equal workload").measured > same.drop("equal workload").measured
    if share > 0.002:
        assert "taken as leakage" in less.leakage
