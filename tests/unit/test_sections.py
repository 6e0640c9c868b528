"""Sections by finite volumes: exact where they must be, second order elsewhere, balanced always."""

from dataclasses import replace

import numpy as np
import pytest

from thermostack.errors import InputError, SolveError
from thermostack.solvers.convergence import grid_convergence, observed_order, richardson
from thermostack.solvers.sections import (
    Axis,
    Edge,
    Film,
    Fixed,
    Heat,
    Joint,
    OnLine,
    Patch,
    Radiation,
    Section,
    Void,
    assemble,
    extrapolate,
    graded,
    solve,
    solve_many,
    uniform,
)

EXACT = 1e-11  # relative: rounding of a direct solve of a few hundred unknowns


def uneven(*knots, size=0.02):
    """An axis through all knots, fine at the first, with cells that differ."""
    return graded(knots, [size * (knots[-1] - knots[0]), *([np.inf] * (len(knots) - 1))], growth=1.5, largest=0.4)


# grid -------------------------------------------------------------------------------------------------------------


def test_graded_axis_has_its_lines_and_sizes():
    axis = graded([0.0, 1.0, 3.0, 1.0], [np.inf, 1e-3, np.inf, 1e-2], growth=1.3, largest=0.2, least=2)
    assert all(axis.near(k).size == 1 for k in (0.0, 1.0, 3.0))
    one = axis.index(1.0)
    assert np.all(axis.widths[one - 1 : one + 1] < 1.3e-3)  # the finer of two sizes asked for at one line counts
    assert np.max(axis.widths) <= 0.4 * (1 + 1e-3)
    ratios = axis.widths[1:] / axis.widths[:-1]
    assert np.max(np.maximum(ratios, 1 / ratios)) < 1.45  # one cell's size is sampled at its start and at its end


def test_halving_keeps_lines_and_smoothness():
    axis = graded([0.0, 1.0, 3.0], [np.inf, 1e-3, np.inf], growth=1.4)
    fine = axis.halved()
    assert np.array_equal(fine.lines[::2], axis.lines)
    away = slice(2 * axis.index(1.0) + 6, -6)
    ratios = (fine.widths[1:] / fine.widths[:-1])[away]
    # growth of 1.4 a cell becomes its root a half cell; cut at the middle it would be 1, 1.4, 1, 1.4 ...
    assert np.all(ratios < 1.25)
    assert np.array_equal(uniform(0.0, 1.0, 5).halved().lines, uniform(0.0, 1.0, 10).lines)


# one-dimensional exactness ----------------------------------------------------------------------------------------

LAYERS = [(0.7e-3, 120.0), (0.03e-3, 4.0), (2.4e-3, 390.0)]
RESISTANCE, H, AMBIENT, FLUX = 8e-6, 35e3, 26.0, 1.1e6


@pytest.mark.parametrize(("normal", "axisymmetric"), [("x", False), ("z", False), ("z", True)])
def test_layers_with_joint_and_film_are_exact(normal, axisymmetric):
    """A flux through three layers, a joint and a film: series resistances, whatever the grid and the direction."""
    across = graded(np.cumsum([0.0] + [t for t, _ in LAYERS]), np.inf, largest=0.3)
    along = uneven(0.0, 5e-3)
    planes = across.lines[list(across.knots)]
    over = (0.0, 5e-3)
    patches, joints = [], [Joint(normal, planes[1], over, RESISTANCE)]
    for (_, k), low, high in zip(LAYERS, planes[:-1], planes[1:], strict=True):
        patches.append(Patch((low, high), over, k) if normal == "x" else Patch(over, (low, high), k))
    section = Section(
        across if normal == "x" else along,
        along if normal == "x" else across,
        tuple(patches),
        (top := Edge(normal, planes[3], over, Film(H, AMBIENT)),),
        (Heat(normal, planes[0], over, FLUX),),
        tuple(joints),
        axisymmetric,
    )
    field = solve(section)
    sides = ("left", "right") if normal == "x" else ("below", "above")

    def at(position, *side):
        return field.at(position, 1.3e-3, *side) if normal == "x" else field.at(1.3e-3, position, *side)

    expected = AMBIENT + FLUX / H
    assert at(planes[3]) == pytest.approx(expected, rel=EXACT)
    expected += FLUX * LAYERS[2][0] / LAYERS[2][1]
    assert at(planes[2]) == pytest.approx(expected, rel=EXACT)
    expected += FLUX * LAYERS[1][0] / LAYERS[1][1]
    assert at(planes[1], sides[1]) == pytest.approx(expected, rel=EXACT)
    expected += FLUX * RESISTANCE
    assert at(planes[1], sides[0]) == pytest.approx(expected, rel=EXACT)
    assert field.mean(OnLine(normal, planes[1], over), sides[0]) == pytest.approx(expected, rel=EXACT)
    assert at(0.25e-3) == pytest.approx(expected + FLUX * (planes[1] - 0.25e-3) / LAYERS[0][1], rel=EXACT)
    expected += FLUX * LAYERS[0][0] / LAYERS[0][1]
    assert at(planes[0]) == pytest.approx(expected, rel=EXACT)
    assert field.hottest == pytest.approx(expected, rel=EXACT)
    area = np.pi * 5e-3**2 if axisymmetric else 5e-3
    assert field.heat_out(top) == pytest.approx(FLUX * area, rel=EXACT)
    assert field.flow(OnLine(normal, planes[1], over)) == pytest.approx(FLUX * area, rel=EXACT)


def test_heat_put_into_a_joint_enters_above_it():
    """Two slabs between cold faces, heat at the upper side of the joint: two paths in parallel."""
    k_low, k_high, r, flux = 50.0, 8.0, 2e-4, 3e4
    section = Section(
        uniform(0.0, 0.02, 2),
        uneven(0.0, 0.01, 0.014),
        (Patch((0.0, 0.02), (0.0, 0.01), k_low), Patch((0.0, 0.02), (0.01, 0.014), k_high)),
        (low := Edge("z", 0.0, (0.0, 0.02), Fixed(0.0)), high := Edge("z", 0.014, (0.0, 0.02), Fixed(0.0))),
        (Heat("z", 0.01, (0.0, 0.02), flux),),
        (Joint("z", 0.01, (0.0, 0.02), r),),
        depth=0.3,
    )
    field = solve(section)
    down, up = 1.0 / (0.01 / k_low + r), k_high / 0.004
    surface = flux / (down + up)
    assert field.at(0.01, 0.01, "above") == pytest.approx(surface, rel=EXACT)
    assert field.at(0.01, 0.01, "below") == pytest.approx(surface * down * 0.01 / k_low, rel=EXACT)
    assert field.heat_out(low) == pytest.approx(surface * down * 0.02 * 0.3, rel=EXACT)
    assert field.heat_out(high) == pytest.approx(surface * up * 0.02 * 0.3, rel=EXACT)


def test_kirchhoff_slab():
    """k = k0 (1 + b T) between fixed faces, where ∫k dT is linear: faces and flux exact, cell centres second order.

    With K = 1 + b T in a cell its faces are at K ± c/K, c = b q h/(2 k0), and (K + c/K)² − (K − c/K)² = 4c: the
    square rises by the same in every cell, which is Kirchhoff's transform.
    """
    k0, b, hot = 30.0, 4e-3, 400.0
    flux = k0 * (hot + b * hot**2 / 2.0)

    def exact(x):
        return (np.sqrt(1.0 + 2.0 * b * flux * x / k0) - 1.0) / b

    errors = []
    for cells in (20, 40, 80, 160):
        section = Section(
            uniform(0.0, 1.0, cells),
            uniform(0.0, 1.0, 1),
            (Patch((0.0, 1.0), (0.0, 1.0), lambda t: k0 * (1.0 + b * t)),),
            (Edge("x", 0.0, (0.0, 1.0), Fixed(0.0)), right := Edge("x", 1.0, (0.0, 1.0), Fixed(hot))),
        )
        field = solve(section)
        assert -field.heat_out(right) == pytest.approx(flux, rel=1e-10)
        assert field.at(0.3, 0.5) == pytest.approx(exact(0.3), rel=1e-10)
        errors.append(np.max(np.abs(field.temperature[:, 0] - exact(section.x.centres))))
    assert np.log2(errors[-2] / errors[-1]) > 1.9
    assert errors[-1] < 1e-2


# manufactured solutions -------------------------------------------------------------------------------------------


def cartesian(x, z):
    """T, its slopes, and d²/dx², d²/dz²."""
    t = np.sin(1.3 * x + 0.2) * np.cosh(0.9 * z) + x * x * z
    t_x = 1.3 * np.cos(1.3 * x + 0.2) * np.cosh(0.9 * z) + 2.0 * x * z
    t_z = 0.9 * np.sin(1.3 * x + 0.2) * np.sinh(0.9 * z) + x * x
    t_xx = -1.69 * np.sin(1.3 * x + 0.2) * np.cosh(0.9 * z) + 2.0 * z
    return t, t_x, t_z, t_xx, 0.81 * np.sin(1.3 * x + 0.2) * np.cosh(0.9 * z)


def axial(r, z):
    """T, its slopes, and (1/r) d/dr(r dT/dr), d²/dz²; smooth on the axis."""
    e = np.exp(0.5 * z)
    t = np.cos(r * r) * e
    return t, -2.0 * r * np.sin(r * r) * e, 0.5 * t, (-4.0 * np.sin(r * r) - 4.0 * r * r * np.cos(r * r)) * e, 0.25 * t


def manufactured(solution, k_x, k_z, *, bend=0.0, axisymmetric=False, x0=0.0):
    """A section whose exact temperature is `solution`; conductivities are k (1 + bend T); all kinds of edges."""
    x1, z1, h = 1.2, 0.8, 3.0

    def factor(t):
        return 1.0 + bend * t

    def heating(x, z):
        t, t_x, t_z, t_xx, t_zz = solution(x, z)
        return -factor(t) * (k_x * t_xx + k_z * t_zz) - bend * (k_x * t_x**2 + k_z * t_z**2)

    def film_temperature(z):  # k T_x = h (T_film − T)
        t, t_x, *_ = solution(x1, z)
        return t + factor(t) * k_x * t_x / h

    def top_flux(x):
        t, _, t_z, *_ = solution(x, z1)
        return factor(t) * k_z * t_z

    k = [(lambda t, k=k: k * factor(t)) if bend else k for k in (k_x, k_z)]
    edges = [
        Edge("z", 0.0, (x0, x1), Fixed(lambda x: solution(x, 0.0)[0])),
        Edge("x", x1, (0.0, z1), Film(h, film_temperature)),
    ]
    if x0 > 0.0 or not axisymmetric:
        edges.append(Edge("x", x0, (0.0, z1), Fixed(lambda z: solution(x0, z)[0])))
    return Section(
        graded([x0, x1], [0.1, np.inf], growth=1.3, largest=0.25),
        graded([0.0, z1], [np.inf, 0.06], growth=1.3, largest=0.25),
        (Patch((x0, x1), (0.0, z1), k[0], k[1], heating),),
        tuple(edges),
        (Heat("z", z1, (x0, x1), top_flux),),
        (),
        axisymmetric,
    )


@pytest.mark.parametrize(
    ("solution", "options"),
    [
        pytest.param(cartesian, {"k_x": 2.0, "k_z": 2.0}, id="isotropic"),
        pytest.param(cartesian, {"k_x": 9.0, "k_z": 1.5}, id="anisotropic"),
        pytest.param(cartesian, {"k_x": 2.0, "k_z": 3.0, "bend": 0.2}, id="k of T, anisotropic"),
        pytest.param(axial, {"k_x": 2.0, "k_z": 2.0, "axisymmetric": True}, id="axisymmetric"),
        pytest.param(axial, {"k_x": 5.0, "k_z": 1.0, "axisymmetric": True}, id="axisymmetric, anisotropic"),
        pytest.param(axial, {"k_x": 2.0, "k_z": 1.0, "axisymmetric": True, "x0": 0.3}, id="hollow cylinder"),
        pytest.param(axial, {"k_x": 2.0, "k_z": 1.0, "axisymmetric": True, "bend": 0.2}, id="axisymmetric, k of T"),
    ],
)
def test_second_order_on_manufactured_solutions(solution, options):
    """Largest error over all cells and at places on the edges falls fourfold with each halving, to a part in 1e4."""
    section = manufactured(solution, **options)
    x0 = options.get("x0", 0.0)
    places = [(x0, 0.8), (1.2, 0.8), (1.2, 0.0), (x0 + 0.35, 0.8), (1.2, 0.37), (0.77, 0.51)]
    errors = []
    for grid in range(5):
        section = section.halved() if grid else section
        field = solve(section)
        x, z = np.meshgrid(section.x.centres, section.z.centres, indexing="ij")
        at_places = [abs(field.at(*p) - float(solution(*p)[0])) for p in places]
        top = OnLine("z", 0.8, (x0, 1.2))
        fine = np.linspace(x0, 1.2, 20001)
        weight = fine if section.axisymmetric else np.ones_like(fine)
        exact_mean = np.trapezoid(solution(fine, 0.8)[0] * weight, fine) / np.trapezoid(weight, fine)
        errors.append(
            [
                np.max(np.abs(field.temperature - solution(x, z)[0])),
                max(at_places),
                abs(field.mean(top, "below") - exact_mean),
            ]
        )
    rates = np.log2(np.divide(errors[:-1], errors[1:]))
    assert np.all(rates[-1] > 1.9), rates
    assert np.all(np.array(errors[-1]) < 1e-3), errors[-1]


def test_cylinder_wall_to_its_logarithm():
    inner, outer, k, h = 0.01, 0.03, 15.0, 200.0
    axis = graded([inner, outer], [1e-3, np.inf], growth=1.2)
    section = Section(
        axis,
        uniform(0.0, 0.5, 2),
        (Patch((inner, outer), (0.0, 0.5), k),),
        (Edge("x", inner, (0.0, 0.5), Fixed(80.0)), out := Edge("x", outer, (0.0, 0.5), Film(h, 20.0))),
        axisymmetric=True,
    )
    resistance = np.log(outer / inner) / (2 * np.pi * k * 0.5) + 1 / (h * 2 * np.pi * outer * 0.5)
    found = extrapolate(section, lambda f: f.heat_out(out))
    assert abs(found.value - 60.0 / resistance) <= found.error
    assert found.error < 1e-5 * found.value


# balance, symmetry, voids ----------------------------------------------------------------------------------------


def stepped():
    """A narrow block under a wide one with a hole in it; joints over parts of lines; every kind of linear edge."""
    x, z = uneven(0.0, 3.0, 4.0, 5.0, 9.0, size=0.01), uneven(0.0, 1.0, 2.0, 3.0, 4.0, size=0.01)
    return Section(
        x,
        z,
        (
            Patch((3.0, 5.0), (0.0, 1.0), 120.0, 80.0, heating=40.0),
            Patch((0.0, 9.0), (1.0, 4.0), 3.0, 7.0),
            Void((4.0, 5.0), (2.0, 3.0)),
        ),
        (
            Edge("z", 4.0, (0.0, 4.0), Film(5.0, 20.0)),
            Edge("z", 4.0, (5.0, 9.0), Fixed(lambda s: 10.0 + s)),
            Edge("z", 3.0, (4.0, 5.0), Film(2.0, 60.0)),  # the ceiling of the hole
            Edge("z", 1.0, (0.0, 3.0), Film(1.0, 0.0)),  # under the overhang
        ),
        (Heat("z", 0.0, (3.0, 4.0), 100.0), Heat("z", 1.0, (3.0, 5.0), 30.0), Heat("x", 4.0, (2.0, 3.0), -7.0)),
        (Joint("z", 1.0, (3.0, 4.0), 0.02), Joint("x", 4.0, (1.0, 2.0), np.inf), Joint("z", 3.0, (5.0, 9.0), 0.5)),
        depth=0.4,
    )


def test_heat_balance_to_rounding():
    section = stepped()
    field = solve(section)
    made = 40.0 * 2.0 * 0.4 + (100.0 + 60.0 - 7.0) * 0.4
    assert sum(field.heat_out(e) for e in section.edges) == pytest.approx(made, rel=1e-10)
    assert abs(field.balance) < 1e-11
    spoilt = replace(field, across_z=replace(field.across_z, flow_high=field.across_z.flow_high * 1.01))
    assert abs(spoilt.balance) > 1e-3  # the figure can fail
    # through a closed line inside: what the lower block makes and gets
    assert field.flow(OnLine("z", 1.0, (3.0, 5.0))) + 60.0 * 0.4 - field.flow(
        OnLine("z", section.z.lines[section.z.index(1.0) + 1], (0.0, 9.0))
    ) == pytest.approx(field.heat_out(section.edges[3]), rel=1e-9)
    assert field.flow(OnLine("x", 4.0, (1.0, 2.0))) == 0.0  # insulated joint


def test_matrix_is_symmetric_and_positive_definite():
    section = stepped()
    k_x, k_z = section.conductivities(np.zeros(section.shape))
    values = []
    for edge in section.edges:
        middle = section.along(edge, 0.0)
        r = np.zeros_like(middle) if isinstance(edge.condition, Fixed) else np.full_like(middle, 1 / edge.condition.h)
        values.append((r, section.along(edge, edge.condition.temperature)))
    matrix = assemble(section, k_x, k_z, values).matrix
    assert matrix.shape[0] == np.count_nonzero(section.active) < section.active.size
    assert (matrix != matrix.T).nnz == 0
    assert np.min(np.linalg.eigvalsh(matrix.toarray())) > 0.0


def test_mirror_image_is_the_same():
    """The same section seen from behind: temperatures to rounding, so no direction is preferred."""
    section = stepped()
    flip = lambda span: (9.0 - span[1], 9.0 - span[0])  # noqa: E731

    def mirrored(line):
        if line.normal == "x":
            return replace(line, at=9.0 - line.at)
        return replace(line, over=flip(line.over))

    edges = [mirrored(e) for e in section.edges]
    edges[1] = replace(edges[1], condition=Fixed(lambda s: 10.0 + 9.0 - s))
    other = Section(
        Axis(9.0 - section.x.lines[::-1]),
        section.z,
        tuple(replace(p, x=flip(p.x)) for p in section.patches),
        tuple(edges),
        tuple(mirrored(h) for h in section.heats),
        tuple(mirrored(j) for j in section.joints),
        depth=0.4,
    )
    assert np.allclose(solve(other).temperature[::-1], solve(section).temperature, rtol=1e-10, atol=0, equal_nan=True)


def test_many_loads_are_the_same_as_one_by_one_and_add_up():
    section = stepped()
    loads = [section.heats[:1], section.heats[1:], section.heats, ()]
    fields = solve_many(section, loads)
    for field, load in zip(fields, loads, strict=True):
        alone = solve(replace(section, heats=load))
        assert np.allclose(field.temperature, alone.temperature, rtol=1e-12, atol=0, equal_nan=True)
    a, b, both, none = (f.temperature for f in fields)
    assert np.allclose(a + b - none, both, rtol=1e-10, atol=0, equal_nan=True)


def test_corner_of_a_good_conductor_has_its_temperature():
    """Metal in insulation is at one temperature up to its corner, on a coarse grid too, where insulation varies."""
    section = Section(
        uniform(0.0, 2.0, 4),
        uniform(0.0, 2.0, 4),
        (Patch((0.0, 2.0), (0.0, 2.0), 0.03), Patch((0.0, 1.0), (1.0, 2.0), 400.0)),
        (Edge("z", 0.0, (0.0, 2.0), Fixed(0.0)),),
        (Heat("z", 2.0, (0.0, 1.0), 1.0),),
    )
    field = solve(section)
    assert field.at(1.0, 1.0) == pytest.approx(field.at(0.5, 1.5), rel=1e-3)
    assert field.at(1.0, 1.0, "right", "below") < 0.9 * field.at(1.0, 1.0)


# radiation and iteration -----------------------------------------------------------------------------------------


def slab(condition, **patch):
    return Section(
        uniform(0.0, 0.1, 4),
        uniform(0.0, 1.0, 1),
        (Patch((0.0, 0.1), (0.0, 1.0), **({"k_x": 40.0} | patch)),),
        (right := Edge("x", 0.1, (0.0, 1.0), condition),),
        (Heat("x", 0.0, (0.0, 1.0), 2e4),),
    ), right


def test_radiating_face_closes_its_balance():
    section, right = slab(Radiation(0.7, 350.0))
    field = solve(section)
    surface = field.at(0.1, 0.5)
    assert 0.7 * 5.670374419e-8 * (surface**4 - 350.0**4) == pytest.approx(2e4, rel=1e-10)
    assert field.heat_out(right) == pytest.approx(2e4, rel=1e-10)


def test_not_converged_is_an_error():
    section, _ = slab(Radiation(0.7, 350.0))
    with pytest.raises(SolveError, match="not converged after 2 passes"):
        solve(section, iterations=2)


def test_conductivity_that_collapses_is_an_error():
    """k = exp(−T): ∫k dT is at most 1, less than this flux needs, so no steady state exists."""
    section, _ = slab(Fixed(0.0), k_x=lambda t: np.exp(-t))
    with pytest.raises(SolveError, match="conductivity 0 W"):
        solve(section)


# errors ----------------------------------------------------------------------------------------------------------


def plain(**change):
    parts = {
        "x": uniform(0.0, 1.0, 4),
        "z": uniform(0.0, 1.0, 4),
        "patches": (Patch((0.0, 1.0), (0.0, 1.0), 2.0),),
        "edges": (Edge("z", 0.0, (0.0, 1.0), Fixed(0.0)),),
    }
    return Section(**(parts | change))


BOTTOM = Edge("z", 0.0, (0.0, 1.0), Fixed(0.0))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"patches": (Patch((0.0, 0.9), (0.0, 1.0), 2.0),)}, "no grid line at 0.9"),
        ({"patches": (Patch((0.5, 0.5), (0.0, 1.0), 2.0),)}, "empty interval"),
        ({"patches": ()}, "without material"),
        ({"patches": (Patch((0.0, 1.0), (0.0, 1.0), -2.0),)}, "conductivity"),
        ({"patches": (Patch((0.0, 1.0), (0.0, 1.0), 2.0, np.nan),)}, "conductivity"),
        ({"patches": (Patch((0.0, 1.0), (0.0, 1.0), 2.0, heating=np.inf),)}, "not finite"),
        ({"edges": ()}, "no way to lose its heat"),
        ({"joints": (Joint("z", 0.5, (0.0, 1.0), np.inf),)}, "no way to lose its heat"),
        ({"edges": (BOTTOM, Edge("z", 0.0, (0.5, 1.0), Film(1.0, 0.0)))}, "overlaps"),
        ({"edges": (Edge("z", 0.5, (0.0, 1.0), Fixed(0.0)),)}, "not on the outline"),
        ({"edges": (Edge("z", 0.0, (0.0, 1.0), Film(0.0, 0.0)),)}, "film of h"),
        ({"edges": (Edge("z", 0.0, (0.0, 1.0), Film(lambda s: s - 0.5, 0.0)),)}, "film of zero or less"),
        ({"edges": (Edge("z", 0.0, (0.0, 1.0), Fixed(np.nan)),)}, "not finite"),
        ({"edges": (Edge("z", 0.0, (0.0, 1.0), Radiation(1.2, 300.0)),)}, "emissivity"),
        ({"joints": (Joint("z", 0.5, (0.0, 1.0), -1.0),)}, "joint with r"),
        ({"joints": (Joint("z", 0.0, (0.0, 1.0), 1.0),)}, "nothing on one side"),
        ({"patches": (Patch((0.0, 0.5), (0.0, 1.0), 2.0),), "heats": (Heat("x", 1.0, (0.0, 1.0), 1.0),)}, "nothing"),
        ({"depth": 0.0}, "depth"),
        ({"x": uniform(-1.0, 1.0, 4), "axisymmetric": True}, "radii"),
    ],
)
def test_bad_sections_are_refused(change, words):
    with pytest.raises(InputError, match=words):
        solve(plain(**change))


def test_radiation_below_zero_kelvin_is_an_error():
    section = plain(edges=(Edge("z", 1.0, (0.0, 1.0), Radiation(0.5, 0.0)),), heats=(Heat("z", 0.0, (0.0, 1.0), -5.0),))
    with pytest.raises(SolveError, match="kelvin"):
        solve(section)


def test_bad_questions_are_refused():
    field = solve(plain(joints=(Joint("z", 0.5, (0.0, 1.0), 1.0),)))
    with pytest.raises(InputError, match="lies on a joint"):
        field.at(0.3, 0.5)
    assert field.at(0.3, 0.5, "below") == field.at(0.3, 0.5, "above") == 0.0
    with pytest.raises(InputError, match="no material at"):
        field.at(1.5, 0.5)
    with pytest.raises(InputError, match="no material above"):
        field.mean(OnLine("z", 1.0, (0.0, 1.0)), "above")
    with pytest.raises(InputError, match="no material left"):
        field.mean(OnLine("z", 0.5, (0.0, 1.0)), "left")
    with pytest.raises(InputError, match="nonlinear"):
        solve_many(slab(Radiation(0.5, 300.0))[0], [()])


@pytest.mark.parametrize(
    "make",
    [
        lambda: Axis(np.array([0.0, 1.0, 1.0])),
        lambda: Axis(np.array([0.0])),
        lambda: Axis(np.array([0.0, np.nan])),
        lambda: graded([0.0, 1.0], 0.1, growth=1.0),
        lambda: graded([0.0, 1.0], -0.1),
        lambda: graded([1.0, 1.0], 0.1),
        lambda: graded([0.0, 1.0], 0.1, largest=0.0),
        lambda: richardson([np.ones(2)]),
        lambda: observed_order(1.0, 2.0, 1.0, 2.0),
        lambda: grid_convergence([1.0, 2.0], [1.0, 2.0, 3.0]),
    ],
)
def test_bad_grids_and_studies_are_refused(make):
    with pytest.raises(InputError):
        make()


# convergence figures ---------------------------------------------------------------------------------------------


def test_observed_order_of_a_power_law():
    """f = f0 + c h^p gives p and f0 back at unequal ratios, oscillating or not."""
    for p in (0.7, 1.0, 2.0, 3.3):
        h = np.array([1.0, 1.5, 2.6])
        study = grid_convergence(h, 5.0 + 0.3 * h**p)
        assert study.order == pytest.approx(p, rel=1e-9)
        assert study.extrapolated == pytest.approx(5.0, rel=1e-10)
        assert not study.oscillating


@pytest.mark.parametrize("values", [(1.0, 2.0, 2.5), (1.0, 1.0, 2.0), (1.0, 2.0, 2.0)])
def test_diverging_or_equal_values_have_no_order(values):
    """The modulus in the published equation would give diverging values a positive order."""
    with pytest.raises(SolveError):
        grid_convergence([1.0, 2.0, 4.0], values)


def test_richardson_removes_second_order():
    h = np.array([1.0, 0.5, 0.25])[:, None]
    found = richardson(3.0 + np.array([2.0, -1.0]) * h**2)
    assert found.value == pytest.approx(3.0, rel=1e-14)
    assert np.all(found.error < 1e-14)
    two = richardson((3.0 + 2.0 * h**2)[:2])
    assert two.error == pytest.approx(0.5)
    # a slower term is left in, and the error given holds it
    slow = richardson(3.0 + 0.1 * h ** (4 / 3))
    assert np.all(np.abs(slow.value - 3.0) <= slow.error)
