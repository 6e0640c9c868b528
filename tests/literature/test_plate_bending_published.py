"""Plate bending against the tables of a handbook and against a second road; tolerance sums against a worked one."""

import numpy as np
import pytest
from scipy.sparse import diags, eye, kron
from scipy.sparse.linalg import spsolve

from thermostack.errors import InputError
from thermostack.laws.heights import gap_under_lid, mount_pressure, root_sum_square, spring_force, worst_case
from thermostack.laws.plate_bending import flexural_rigidity, supported_plate_deflection

A = 0.02
D = 4.0

# Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959, Table 8 (from memory): simply supported
# rectangular plate under an even load q, deflection at the centre α q a⁴/D against b/a. The entries for 1.1 to 1.4, as
# recalled, lie up to 0.4 % below the series that the table was computed from (`levy_even`), and are left out.
TABLE_8 = {1.0: 0.00406, 1.5: 0.00772, 1.6: 0.00830, 1.7: 0.00883, 1.8: 0.00931, 1.9: 0.00974, 2.0: 0.01013,
           3.0: 0.01223, 4.0: 0.01282, 5.0: 0.01297}  # fmt: skip
# the same, Table 23 (from memory): a load P at the centre, deflection there α P a²/D; entries left out for the same reason
TABLE_23 = {1.0: 0.01160, 1.6: 0.01570}
LAST_DIGIT = 1e-5
"""One unit of it: the print cuts off as well as rounds."""


def sech(z):
    return 2 * np.exp(-z) / (1 + np.exp(-2 * z))


def levy_even(ratio):
    """Single series of article 30 (Lévy): α of Table 8; it shares no sum with Navier's."""
    m = np.arange(1, 400, 2)
    z = m * np.pi * ratio / 2
    return 4 / np.pi**5 * np.sum((-1.0) ** ((m - 1) // 2) / m**5 * (1 - (z * np.tanh(z) + 2) / 2 * sech(z)))


def levy_point(ratio):
    """Single series of article 34: α of Table 23; 1/m³ beyond its last term is added."""
    m = np.arange(1, 200, 2)
    z = m * np.pi * ratio / 2
    tail = 1 / (4 * 200.0**2)  # of 1/m³ over odd m, by the midpoint rule
    return (np.sum((np.tanh(z) - z * sech(z) ** 2) / m**3) + tail) / (2 * np.pi**3)


def even(ratio):
    return float(supported_plate_deflection(1e5 * A * ratio * A, (A, ratio * A), (A, ratio * A), D)) * D / (1e5 * A**4)


def point(ratio):
    return float(supported_plate_deflection(100.0, (A, ratio * A), (0.0, 0.0), D)) * D / (100.0 * A**2)


@pytest.mark.parametrize(("ratio", "alpha"), TABLE_8.items())
def test_an_even_load_bends_as_table_8_says(ratio, alpha):
    assert even(ratio) == pytest.approx(alpha, abs=LAST_DIGIT)


@pytest.mark.parametrize(("ratio", "alpha"), TABLE_23.items())
def test_a_point_load_bends_as_table_23_says(ratio, alpha):
    assert point(ratio) == pytest.approx(alpha, abs=LAST_DIGIT)


@pytest.mark.parametrize("ratio", [1.0, 1.1, 1.2, 1.3, 1.4, 2.0, 3.0])
def test_both_bend_as_the_single_series(ratio):
    assert even(ratio) == pytest.approx(levy_even(ratio), rel=1e-9)
    assert point(ratio) == pytest.approx(levy_point(ratio), rel=1.1e-6)  # what is left of the double series


def test_a_long_plate_is_a_beam_of_unit_width():
    assert even(12.0) == pytest.approx(5 / 384, rel=1e-6)


def by_differences(a, b, u, v, n):
    """Deflection at the middle and beside the load by finite differences: ∇²M = −q, ∇²w = −M/D, both zero at the rim.

    A simply supported plate in two membranes (Marcus); nothing in common with the series.
    """

    def second(count, h):
        return diags([1.0, -2.0, 1.0], [-1, 0, 1], shape=(count, count)) / h**2

    laplace = kron(second(n, a / (n + 1)), eye(n)) + kron(eye(n), second(n, b / (n + 1)))
    grid = [np.arange(1, n + 1) * side / (n + 1) - side / 2 for side in (a, b)]

    def share(x, half, h):  # of the cell around each node, what lies under the load
        return np.clip(np.minimum(x + h / 2, half) - np.maximum(x - h / 2, -half), 0, None) / h

    q = np.outer(share(grid[0], u / 2, a / (n + 1)), share(grid[1], v / 2, b / (n + 1))) * 100.0 / (u * v)
    moment = spsolve(laplace.tocsc(), -q.ravel())
    w = spsolve(laplace.tocsc(), -moment / D).reshape(n, n)
    return w[n // 2, n // 2], w[(n - 1) // 4, n // 2], grid[0][(n - 1) // 4]


def test_a_patch_bends_as_by_finite_differences():
    a, b, u, v = 0.024, 0.018, 0.0176, 0.0124
    (w1, _, _), (w2, beside, x) = by_differences(a, b, u, v, 79), by_differences(a, b, u, v, 159)
    centre = supported_plate_deflection(100.0, (a, b), (u, v), D)
    # second order: what is left after halving the step is a third of the last change
    assert centre == pytest.approx(w2 + (w2 - w1) / 3, rel=1e-4)
    assert supported_plate_deflection(100.0, (a, b), (u, v), D, (x, 0.0)) == pytest.approx(beside, rel=1e-3)


def test_stiffness_grows_with_the_cube_of_the_thickness():
    assert flexural_rigidity(25e9, 1.0e-3) == pytest.approx(25e9 * 1e-9 / 10.92)
    thin, thick = (supported_plate_deflection(80.0, (A, A), (0.01, 0.01), flexural_rigidity(25e9, t))
                   for t in (0.78e-3, 1.17e-3))  # fmt: skip
    assert thin / thick == pytest.approx(1.5**3)


def test_the_rim_stays_where_it_is():
    assert supported_plate_deflection(80.0, (A, A), (0.01, 0.01), D, (A / 2, 0.0)) == pytest.approx(0, abs=1e-15)


def test_tolerances_add_up_as_worked_out():
    # substrate, socket, die, lid, posts, board: ±0.24 mm together (usual values, common practice, no source)
    usual = [0.10, 0.15, 0.02, 0.08, 0.10, 0.10]
    assert root_sum_square(usual) == pytest.approx(0.2435, abs=5e-5)
    assert worst_case(usual) == pytest.approx(0.55)
    assert root_sum_square([3.0, 4.0]) == 5.0


def test_springs_pressure_and_gap():
    assert spring_force(200.0, 60e3, [8.0e-3, 6.8e-3, 4.0e-3], 8.0e-3) == pytest.approx([200.0, 128.0, 0.0])
    assert mount_pressure(222.0, 1.2e-3) == pytest.approx(185e3)
    assert gap_under_lid(0.8e-3, 0.0, 0.07e-3, 0.78e-3) == pytest.approx(-50e-6)


@pytest.mark.parametrize(
    ("call", "where"),
    [
        (lambda: flexural_rigidity(25e9, 0.0), "thickness"),
        (lambda: flexural_rigidity(25e9, 1e-3, 0.5), "poisson"),
        (lambda: supported_plate_deflection(-1.0, (A, A), (0, 0), D), "force"),
        (lambda: supported_plate_deflection(1.0, (A, A), (0.03, 0), D), "load_sides"),
        (lambda: supported_plate_deflection(1.0, (A, A), (0, 0), D, (0.011, 0.0)), "at"),
        (lambda: worst_case([0.1, -0.1]), "tolerances"),
        (lambda: gap_under_lid(0.0, 0.0, 0.0, 1e-3), "cavity"),
        (lambda: mount_pressure(1.0, 0.0), "area"),
        (lambda: spring_force(1.0, -1.0, 1e-3, 1e-3), "rate"),
    ],
)
def test_what_cannot_be_is_refused(call, where):
    with pytest.raises(InputError, match=where):
        call()
