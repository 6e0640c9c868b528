"""Laws: limits, properties, second roads, batches, bad input."""

from __future__ import annotations

import doctest
import importlib
import subprocess
import sys
import tracemalloc
import warnings

import numpy as np
import pytest

from thermostack.errors import InputError, ThermostackWarning
from thermostack.laws import closed_form, conduction, disk, fins, flux_channel, impedance, interface, shape_factors
from thermostack.laws import spreading as half_space
from thermostack.laws.disk import disk_on_disk, disk_on_rod
from thermostack.laws.flux_channel import rectangle_on_flux_channel, rise_on_flux_channel
from thermostack.laws.impedance import layered_impedance

MODULES = [closed_form, conduction, disk, fins, flux_channel, impedance, interface, shape_factors, half_space]
SIZE, SOURCE, PLACE = np.array([0.04, 0.03]), np.array([0.012, 0.008]), np.array([0.014, 0.018])
THICK, COND, AFTER = np.array([0.5e-3, 2e-3, 4e-3]), np.array([130.0, 380.0, 200.0]), np.array([5e-6, 2e-5, 1e-6])


def brute(size, source, place, z_of, terms):
    """Plain double sum of the mean's spreading part: the law's formula with nothing done to it."""
    m = np.arange(terms)
    s_x, s_y = (
        np.where(m == 0, 1, 2) * (np.cos(np.pi * m * x / a) * np.sinc(m * c / (2 * a))) ** 2
        for a, c, x in zip(size, source, place, strict=True)
    )
    total = 0.0
    for rows in np.array_split(m, max(1, terms // 100)):
        gamma = np.pi * np.hypot(rows[:, None] / size[0], m / size[1])
        gamma[gamma == 0] = np.inf
        total += s_x[rows] @ z_of(gamma) @ s_y
    return total / np.prod(size)


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.__name__.rsplit(".", 1)[1])
def test_examples_in_docstrings(module):
    result = doctest.testmod(module)
    assert result.failed == 0
    assert result.attempted > 0


def test_import_of_the_package_is_light():
    code = (
        "import sys, thermostack.laws; "
        "assert not [m for m in sys.modules if m.startswith(('thermostack.laws.', 'scipy', 'numpy'))]"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
    for module in MODULES:
        assert set(module.__all__) <= set(dir(importlib.import_module(module.__name__)))


class TestConductionAndJoints:
    def test_thin_shells_are_slabs(self):
        r, t, k, length = 1.0, 1e-4, 3.0, 0.7
        flat = conduction.slab_resistance(t, k, 2 * np.pi * (r + t / 2) * length)
        assert conduction.cylinder_resistance(r, r + t, length, k) == pytest.approx(flat, rel=1e-8)
        flat = conduction.slab_resistance(t, k, 4 * np.pi * r * (r + t))
        assert conduction.sphere_resistance(r, r + t, k) == pytest.approx(flat, rel=1e-10)

    def test_sphere_against_integration_over_shells(self):
        nodes, weights = np.polynomial.legendre.leggauss(40)
        r = 0.015 + 0.005 * nodes
        integral = np.sum(0.005 * weights / (4 * np.pi * r**2 * 2.5))
        assert conduction.sphere_resistance(0.01, 0.02, 2.5) == pytest.approx(integral, rel=1e-12)
        integral = np.sum(0.005 * weights / (2 * np.pi * r * 0.3 * 2.5))
        assert conduction.cylinder_resistance(0.01, 0.02, 0.3, 2.5) == pytest.approx(integral, rel=1e-12)

    def test_void_rise_against_a_radial_solution(self):
        """Second road: finite volumes of rings for the plate equation (second order, extrapolated)."""
        q, a, k, t = 1e6, 2e-3, 120.0, 0.78e-3

        def rings(n):
            edges = np.linspace(0, a, n + 1)
            through = q * np.pi * edges[1:] ** 2  # all heat within a ring crosses its rim
            middle = (edges[1:] + edges[:-1]) / 2
            gaps = np.append(np.diff(middle), a - middle[-1])
            return np.sum(through * gaps / (2 * np.pi * edges[1:] * k * t))

        extrapolated = (4 * rings(400) - rings(200)) / 3
        assert interface.void_centre_rise(q, a, k, t) == pytest.approx(extrapolated, rel=1e-4)

    def test_voids(self):
        assert interface.bond_line_resistance(50e-6, 5.0, 1e-6, 0.2) == pytest.approx((1e-5 + 1e-6) / 0.8, rel=1e-14)
        few = 1e-6  # dilute spheres that do not conduct: k (1 - 3/2 φ)
        assert 1 - interface.maxwell_void_conductivity(1.0, few) == pytest.approx(1.5 * few, rel=1e-5)
        # Bruggeman's k (1-φ)^1.5, built up from dilute steps, lies below Maxwell's by second order only
        assert interface.maxwell_void_conductivity(1.0, 0.05) == pytest.approx(0.95**1.5, rel=2e-3)

    def test_generating_wall_against_slices(self):
        """Second road: each slice's heat crosses what lies beyond it."""
        n, q, t, k = 2000, 1.5e6, 0.05, 75.0
        beyond = t * (n - np.arange(n) - 0.5) / n
        assert conduction.generating_wall_rise(q, t, k) == pytest.approx(np.sum(q * t / n * beyond / k), rel=1e-6)

    def test_fins_against_each_other(self):
        h, k, t, width = 80.0, 150.0, 1e-3, 10.0
        assert 1 / (
            h * 2 * (width + t) * 5.0 * fins.straight_fin_efficiency(h, 2 * (width + t), k, width * t, 5.0)
        ) == pytest.approx(fins.long_fin_resistance(h, 2 * (width + t), k, width * t), rel=1e-12)
        wide = fins.annular_fin_efficiency(h, k, t, 50.0, 50.03)  # a flat fin in the limit
        assert wide == pytest.approx(fins.straight_fin_efficiency(h, 2.0, k, t, 0.03), rel=1e-3)

    def test_annular_fin_against_integration(self):
        """Second road: the ring's balance integrated by SciPy from the adiabatic rim."""
        from scipy.integrate import solve_ivp

        h, k, t, r1, r2 = 300.0, 100.0, 2e-3, 0.02, 0.05
        m2 = 2 * h / (k * t)
        run = solve_ivp(
            lambda r, y: [y[1] / r, m2 * r * y[0], r * y[0]], (r2, r1), [1.0, 0.0, 0.0], rtol=1e-11, atol=1e-14
        )
        rise, _, integral = run.y[:, -1]
        mean = -2 * integral / (r2**2 - r1**2)
        assert fins.annular_fin_efficiency(h, k, t, r1, r2) == pytest.approx(mean / rise, rel=1e-8)

    def test_shape_factors_by_second_roads(self):
        d, z = 0.1, 0.3
        alpha, n = np.arccosh(2 * z / d), np.arange(1, 60)
        bispherical = 2 * np.pi * d * np.sinh(alpha) * np.sum(1 / np.sinh(n * alpha))
        assert shape_factors.buried_sphere(d, 5 * d) == pytest.approx(2 * np.pi * d / 0.95, rel=1e-12)
        assert shape_factors.buried_sphere(d, z) == pytest.approx(bispherical, rel=3e-4)
        assert shape_factors.buried_cylinder(d, z) == pytest.approx(2 * shape_factors.two_cylinders(d, d, 2 * z))
        assert 1 / (5.0 * shape_factors.disk_on_half_space(d)) == pytest.approx(
            half_space.circle_isothermal(d / 2, 5.0)
        )


class TestImpedance:
    GAMMA = np.geomspace(1.0, 1e4, 60)

    def test_one_layer_limits(self):
        one = np.ones(1)
        t, k, flat = 3e-3 * one, 400.0 * one, 0 * one
        kg = 400.0 * self.GAMMA
        tanh = np.tanh(self.GAMMA * 3e-3)
        assert layered_impedance(self.GAMMA, t, k, k, flat, np.inf) == pytest.approx(1 / (kg * tanh), rel=1e-13)
        assert layered_impedance(self.GAMMA, t, k, k, flat, 0.0) == pytest.approx(tanh / kg, rel=1e-13)
        assert layered_impedance(np.array([1e9]), t, k, k, flat, 1.0)[0] == pytest.approx(1 / 400e9, rel=1e-13)
        assert layered_impedance(np.zeros(1), t, k, k, 2e-5 * one, 1e-4)[0] == pytest.approx(3e-3 / 400 + 1.2e-4)
        assert layered_impedance(np.zeros(1), t, k, k, flat, np.inf)[0] == np.inf

    def test_base_may_differ_by_mode(self):
        one = np.ones(1)
        base = np.array([1e-4, np.inf, np.inf])
        gamma = np.array([0.0, 100.0, 300.0])
        found = layered_impedance(gamma, 3e-3 * one, 400 * one, 400 * one, 0 * one, base)
        coth = 1 / (400 * gamma[1:] * np.tanh(3e-3 * gamma[1:]))
        assert found == pytest.approx([1e-4 + 3e-3 / 400, *coth], rel=1e-13)

    def test_layers_against_transfer_matrices(self):
        """Second road: product of [[cosh, sinh/(kγ)], [kγ sinh, cosh]] and [[1, r], [0, 1]], temperature over flux."""
        k_in = COND * np.array([0.5, 1.0, 3.0])
        for g in np.geomspace(10, 2e3, 9):
            chain = np.eye(2)
            for t, kz, kxy, r in zip(THICK, COND, k_in, AFTER, strict=True):
                x, kg = g * t * np.sqrt(kxy / kz), g * np.sqrt(kxy * kz)
                chain = chain @ [[np.cosh(x), np.sinh(x) / kg], [kg * np.sinh(x), np.cosh(x)]] @ [[1, r], [0, 1]]
            theta, flux = chain @ [1 / 8000.0, 1.0]
            found = layered_impedance(np.array([g]), THICK, COND, k_in, AFTER, 1 / 8000.0)[0]
            assert found == pytest.approx(theta / flux, rel=1e-12)


class TestDisk:
    def test_equal_footprint_is_one_dimensional(self):
        found = disk_on_disk(0.02, 0.02, THICK, COND, 4000.0, r_above=AFTER)
        one = (np.sum(THICK / COND + AFTER) + 1 / 4000) / (np.pi * 0.02**2)
        assert found.mean == pytest.approx(one, rel=1e-12)
        assert found.centre == pytest.approx(one, rel=1e-9)

    def test_thick_layer_is_a_rod_and_a_wide_one_a_half_space(self):
        found = disk_on_disk(0.003, 0.01, 0.04, 50.0, 100.0)
        assert found.spreading_mean == pytest.approx(disk_on_rod(0.003, 0.01, 50.0), rel=1e-9)
        widths = (40.0, 80.0)  # R(b) = R(inf) - C/b + O(1/b^3)
        rods = [disk_on_rod(1.0, b, 1.0, terms=20_000) for b in widths]
        assert 2 * rods[1] - rods[0] == pytest.approx(half_space.circle_isoflux_mean(1.0, 1.0), rel=1e-5)
        deep = [disk_on_disk(1.0, b, 5 * b, 1.0, 1e9, terms=20_000).spreading_centre for b in widths]
        assert 2 * deep[1] - deep[0] == pytest.approx(half_space.circle_isoflux_centre(1.0, 1.0), rel=1e-5)

    def test_the_rest_of_the_series_is_added(self):
        few = disk_on_disk(0.004, 0.02, THICK, COND, 2e4, terms=200)
        many = disk_on_disk(0.004, 0.02, THICK, COND, 2e4, terms=20_000)
        assert few.spreading_mean == pytest.approx(many.spreading_mean, rel=1e-6)
        assert few.spreading_centre == pytest.approx(many.spreading_centre, rel=1e-6)
        default = disk_on_disk(0.004, 0.02, THICK, COND, 2e4)
        assert default.spreading_mean == pytest.approx(many.spreading_mean, rel=1e-8)

    def test_batch_equals_loop_and_broadcasts(self):
        rng = np.random.default_rng(3)
        a, h = rng.uniform(0.002, 0.01, (5, 1)), rng.uniform(1e3, 1e5, 4)
        k = rng.uniform(50, 400, (4, 3))
        batch = disk_on_disk(a, 0.02, THICK, k, h, r_above=AFTER)
        assert batch.mean.shape == (5, 4)
        for i, j in np.ndindex(5, 4):
            one = disk_on_disk(a[i, 0], 0.02, THICK, k[j], h[j], r_above=AFTER)
            assert [x[i, j] for x in batch] == pytest.approx(list(one), rel=1e-12)
        assert isinstance(one.mean, float)
        rods = disk_on_rod(a, 0.02, np.array([1.0, 2.0]))
        assert rods.shape == (5, 2)
        assert rods[3, 1] == pytest.approx(disk_on_rod(a[3, 0], 0.02, 2.0), rel=1e-12)


class TestFluxChannel:
    def call(self, **changes):
        arguments = {
            "size": SIZE,
            "source": SOURCE,
            "centre": PLACE,
            "thickness": THICK,
            "k_through": COND,
            "h": 3000.0,
            "r_above": AFTER,
        }
        return rectangle_on_flux_channel(**(arguments | changes))

    def test_equal_footprint_is_one_dimensional(self):
        found = self.call(source=SIZE, centre=None)
        one = (np.sum(THICK / COND + AFTER) + 1 / 3000) / np.prod(SIZE)
        assert found.mean == pytest.approx(one, rel=1e-12)
        assert found.centre == pytest.approx(one, rel=1e-7)
        # equal in one direction: a strip, whose other side does not matter per width
        strip = [self.call(size=[0.04, b], source=[0.012, b], centre=None).mean * b for b in (0.01, 0.1)]
        assert strip[0] == pytest.approx(strip[1], rel=1e-12)

    def test_a_layer_cut_in_two_is_the_same_layer(self):
        whole = rectangle_on_flux_channel(SIZE, SOURCE, PLACE, 3e-3, 400.0, 5000.0)
        halves = rectangle_on_flux_channel(SIZE, SOURCE, PLACE, [1.2e-3, 1.8e-3], [400.0, 400.0], 5000.0)
        assert list(whole) == pytest.approx(list(halves), rel=1e-11)

    def test_an_anisotropic_layer_is_a_stretched_isotropic_one(self):
        k_z, k_xy, t = 60.0, 900.0, 0.8e-3
        found = rectangle_on_flux_channel(SIZE, SOURCE, PLACE, t, k_z, 5000.0, k_in_plane=k_xy)
        stretched = rectangle_on_flux_channel(SIZE, SOURCE, PLACE, t * np.sqrt(k_xy / k_z), np.sqrt(k_xy * k_z), 5000.0)
        assert list(found) == pytest.approx(list(stretched), rel=1e-11)

    @pytest.mark.parametrize(
        ("far_face", "place", "thick"),
        [
            ("film", PLACE, np.array([0.5e-3, 2e-3, 4e-3])),
            ("film", SIZE / 2, np.array([20e-6, 2e-3, 4e-3])),  # a thin layer next to the heat
            ("uniform flux", SIZE / 2, np.array([0.5e-3, 2e-3, 4e-3])),
            ("film", SOURCE / 2 + 1e-5, np.array([0.5e-3, 2e-3, 4e-3])),  # a hair from the walls
        ],
    )
    def test_mean_against_the_plain_sum(self, far_face, place, thick):
        base = 1 / 3000 if far_face == "film" else np.inf

        def z(gamma):
            flat = layered_impedance(gamma.reshape(1, -1), thick[None], COND[None], COND[None], AFTER[None], base)
            return flat.reshape(gamma.shape)

        sums = [brute(SIZE, SOURCE, place, z, n) for n in (600, 1200)]
        extrapolated = (4 * sums[1] - sums[0]) / 3  # what is left falls as 1/n²
        found = self.call(thickness=thick, far_face=far_face, centre=place, rtol=1e-6)
        assert found.spreading_mean == pytest.approx(extrapolated, rel=2e-5)
        default = self.call(thickness=thick, far_face=far_face, centre=place)
        assert [default.mean, default.centre] == pytest.approx([found.mean, found.centre], rel=1e-5)
        rough = self.call(thickness=thick, far_face=far_face, centre=place, rtol=1e-4)
        assert [rough.mean, rough.centre] == pytest.approx([found.mean, found.centre], rel=1e-4)

    def test_uniform_flux_far_away_is_a_film_far_away(self):
        """Deep enough, the far face does not matter to the spreading part."""
        deep = {"thickness": 0.2, "k_through": 100.0, "r_above": None}
        film, flux = (self.call(**deep, far_face=face) for face in ("film", "uniform flux"))
        assert list(film) == pytest.approx(list(flux), rel=1e-9)
        thin = {"thickness": 2e-3, "k_through": 100.0, "r_above": None}
        film, flux = (self.call(**thin, far_face=face) for face in ("film", "uniform flux"))
        assert flux.spreading_mean > film.spreading_mean

    def test_small_source_on_a_deep_channel_is_on_a_half_space(self):
        c, k = np.array([2.0, 1.0]), 3.0
        found = [
            rectangle_on_flux_channel([w, w], c, None, 5 * w, k, 1e6, rtol=1e-7) for w in (40.0, 80.0)
        ]  # R(w) = R(inf) - C/w + O(1/w^3)
        mean = 2 * found[1].spreading_mean - found[0].spreading_mean
        centre = 2 * found[1].spreading_centre - found[0].spreading_centre
        assert mean == pytest.approx(half_space.rectangle_isoflux_mean(*c, k), rel=2e-5)
        assert centre == pytest.approx(half_space.rectangle_isoflux_centre(*c, k), rel=2e-5)

    def test_disk_of_equal_area_is_within_a_per_cent(self):
        side, width = 0.012, 0.034
        square = rectangle_on_flux_channel([width, width], [side, side], None, THICK, COND, 2e4)
        disk = disk_on_disk(side / np.sqrt(np.pi), width / np.sqrt(np.pi), THICK, COND, 2e4)
        assert disk.one_dimensional == pytest.approx(square.one_dimensional, rel=1e-12)
        assert disk.mean == pytest.approx(square.mean, rel=0.01)
        assert disk.centre == pytest.approx(square.centre, rel=0.02)

    def test_reciprocity(self):
        other, there = np.array([0.005, 0.003]), np.array([0.030, 0.006])
        one = rise_on_flux_channel(SIZE, SOURCE, PLACE, THICK, COND, 3000.0, there, other, rtol=1e-6)
        two = rise_on_flux_channel(SIZE, other, there, THICK, COND, 3000.0, PLACE, SOURCE, rtol=1e-6)
        assert one == pytest.approx(two, rel=1e-6)

    def test_two_halves_make_the_whole(self):
        half = SOURCE * [0.5, 1]
        shift = np.array([SOURCE[0] / 4, 0])
        left, right = PLACE - shift, PLACE + shift
        quarter = [
            rise_on_flux_channel(SIZE, half, p, THICK, COND, 3000.0, q, half, r_above=AFTER, rtol=1e-6)
            for p in (left, right)
            for q in (left, right)
        ]
        assert np.mean(quarter) == pytest.approx(self.call(rtol=1e-6).mean, rel=1e-6)

    def test_points(self):
        found = self.call(rtol=1e-6)
        layered = {"r_above": AFTER, "rtol": 1e-6}
        at_centre = rise_on_flux_channel(SIZE, SOURCE, PLACE, THICK, COND, 3000.0, PLACE, **layered)
        assert at_centre == pytest.approx(found.centre, rel=1e-9)
        nodes, weights = np.polynomial.legendre.leggauss(12)  # mean over the source, point by point
        x, y = np.meshgrid(nodes, nodes, indexing="ij")
        points = PLACE + np.stack([x, y], axis=-1) * SOURCE / 2
        rises = rise_on_flux_channel(SIZE, SOURCE, PLACE, THICK, COND, 3000.0, points, **layered)
        assert rises.shape == (12, 12)
        assert weights @ rises @ weights / 4 == pytest.approx(found.mean, rel=1e-3)
        # points and rectangles in one batch, and a rectangle shrunk to a point
        sides = np.array([[0.0, 0.0], [1e-5, 1e-5], SOURCE])
        mixed = rise_on_flux_channel(SIZE, SOURCE, PLACE, THICK, COND, 3000.0, PLACE, sides, **layered)
        assert mixed == pytest.approx([found.centre, found.centre, found.mean], rel=1e-6)
        # a point on the edge lies between points on either side of it
        edge = PLACE + np.array([SOURCE[0] / 2, 0])
        step = np.array([[-1e-4, 0], [0, 0], [1e-4, 0]])
        rises = rise_on_flux_channel(SIZE, SOURCE, PLACE, THICK, COND, 3000.0, edge + step, **layered)
        assert rises[0] > rises[1] > rises[2]
        assert rises[1] == pytest.approx((rises[0] + rises[2]) / 2, rel=1e-3)
        # the mean over the whole face is the one-dimensional rise
        whole = rise_on_flux_channel(SIZE, SOURCE, PLACE, THICK, COND, 3000.0, SIZE / 2, SIZE, **layered)
        assert whole == pytest.approx(found.one_dimensional, rel=1e-12)

    @pytest.mark.parametrize("place", [PLACE, SIZE / 2])
    def test_the_rest_of_the_series_is_added(self, place):
        """24 times as many terms change the mean by 1e-7, a point on the edge by 4e-7: the rest stands where it should.

        Half as far again beyond the last term, or the edge's density 1 % off, would show as 6e-7 and 1e-5.
        """
        few, many = (self.call(centre=place, rtol=rtol).mean for rtol in (1e-4, 1e-7))
        assert few == pytest.approx(many, rel=3e-7)
        edge = place + np.array([SOURCE[0] / 2, 0])
        few, many = (
            rise_on_flux_channel(SIZE, SOURCE, place, THICK, COND, 3000.0, edge, r_above=AFTER, rtol=rtol)
            for rtol in (1e-4, 1e-7)
        )
        assert few == pytest.approx(many, rel=2e-6)

    def test_mirror(self):
        mirrored = self.call(centre=SIZE - PLACE)
        assert list(mirrored) == pytest.approx(list(self.call()), rel=1e-9)
        turned = self.call(size=SIZE[::-1], source=SOURCE[::-1], centre=PLACE[::-1])
        assert list(turned) == pytest.approx(list(self.call()), rel=1e-9)

    def test_monotone_and_scaling(self):
        h = np.geomspace(100, 1e6, 30)
        assert np.all(np.diff(self.call(h=h).mean) < 0)
        assert np.all(np.diff(self.call(h=h).centre) < 0)
        k = COND * np.geomspace(0.3, 3, 30)[:, None]
        assert np.all(np.diff(self.call(k_through=k).mean) < 0)
        sources = SOURCE * np.linspace(0.2, 1.2, 20)[:, None]
        assert np.all(np.diff(self.call(source=sources, centre=None).mean) < 0)
        assert np.all(self.call().centre > self.call().mean)
        scaled = self.call(
            size=3 * SIZE, source=3 * SOURCE, centre=3 * PLACE, thickness=3 * THICK, h=1000.0, r_above=3 * AFTER
        )
        assert 3 * scaled.mean == pytest.approx(self.call().mean, rel=1e-12)
        hot = self.call(k_through=2 * COND, h=6000.0, r_above=AFTER / 2)
        assert 2 * hot.centre == pytest.approx(self.call().centre, rel=1e-12)

    def test_batch_equals_loop(self):
        rng = np.random.default_rng(5)
        sources = SIZE * rng.uniform(0.01, 0.9, (12, 2))
        places = sources / 2 + (SIZE - sources) * rng.uniform(size=(12, 2))
        places[::3] = SIZE / 2  # centred ones among them
        h, k = rng.uniform(1e3, 1e5, 12), rng.uniform(50, 400, (12, 3))
        batch = self.call(source=sources, centre=places, h=h, k_through=k)
        one_geometry = self.call(h=h, k_through=k)
        for i in range(12):
            one = self.call(source=sources[i], centre=places[i], h=h[i], k_through=k[i])
            assert [x[i] for x in batch] == pytest.approx(list(one), rel=1e-12)
            one = self.call(h=h[i], k_through=k[i])
            assert [x[i] for x in one_geometry] == pytest.approx(list(one), rel=1e-12)
        assert isinstance(one.mean, float)
        grid = self.call(h=h[:, None], k_through=k[:4])
        assert grid.mean.shape == (12, 4)
        assert grid.mean[7, 2] == pytest.approx(self.call(h=h[7], k_through=k[2]).mean, rel=1e-12)

    def test_memory_stays_bounded(self):
        h = np.linspace(1e3, 1e5, 20_000)
        tracemalloc.start()
        try:
            self.call(h=h, rtol=1e-4)
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
        assert peak < 50e6  # unchunked it would be above 1 GB

    def test_isothermal_base(self):
        held = self.call(h=np.inf)
        assert held.mean == pytest.approx(self.call(h=1e12).mean, rel=1e-6)
        assert disk_on_disk(0.005, 0.02, THICK, COND, np.inf).mean < disk_on_disk(0.005, 0.02, THICK, COND, 1e5).mean


class TestClosedForm:
    def test_warns_once_naming_the_numbers(self):
        eps = np.array([0.2, 0.7])
        with pytest.warns(ThermostackWarning) as caught:
            closed_form.closed_form_spreading(eps, 1.0, 0.05, 1.0, np.array([0.5, 4.0]))
        assert len(caught) == 1
        text = str(caught[0].message)
        assert "tau 0.05" in text
        assert "Bi 4" in text
        assert "eps 0.7" in text
        assert caught[0].filename == __file__

    @pytest.mark.parametrize("warn", [True, False])
    def test_silent_where_it_holds_or_told_to_be(self, warn):
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            if warn:
                closed_form.closed_form_spreading(0.6, 1.0, 0.1, 1.0, 1.0)
            else:
                closed_form.closed_form_spreading(0.61, 1.0, 0.09, 1.0, 1.1, warn=False)

    def test_equal_footprint_is_one_dimensional(self):
        found = closed_form.closed_form_spreading(1.0, 1.0, 0.5, 2.0, 1.0, warn=False)
        assert found.mean == found.centre == found.one_dimensional == pytest.approx((0.25 + 1) / np.pi)


BAD = {
    conduction.slab_specific_resistance: {"thickness": 1e-3, "conductivity": 4.0},
    conduction.slab_resistance: {"thickness": 1e-3, "conductivity": 4.0, "area": 1e-4},
    conduction.cylinder_resistance: {"inner": 0.1, "outer": 0.2, "length": 1.0, "conductivity": 4.0},
    conduction.sphere_resistance: {"inner": 0.1, "outer": 0.2, "conductivity": 4.0},
    conduction.generating_wall_rise: {"generation": 1e6, "thickness": 0.05, "conductivity": 75.0},
    fins.long_fin_resistance: {"h": 10.0, "perimeter": 0.1, "conductivity": 100.0, "area": 1e-4},
    fins.straight_fin_efficiency: {"h": 10.0, "perimeter": 0.1, "conductivity": 100.0, "area": 1e-4, "length": 0.1},
    fins.annular_fin_efficiency: {"h": 10.0, "conductivity": 100.0, "thickness": 1e-3, "inner": 0.1, "outer": 0.2},
    fins.finned_surface_resistance: {"h": 10.0, "bare_area": 0.1, "fin_area": 0.1, "efficiency": 0.9},
    shape_factors.disk_on_half_space: {"diameter": 0.1},
    shape_factors.buried_sphere: {"diameter": 0.1, "depth": 0.2},
    shape_factors.buried_cylinder: {"diameter": 0.1, "depth": 0.2},
    shape_factors.two_cylinders: {"diameter_1": 0.1, "diameter_2": 0.1, "distance": 0.3},
    shape_factors.square_channel: {"outer": 0.2, "inner": 0.1},
    interface.bond_line_resistance: {"bond_line": 1e-5, "conductivity": 4.0, "contact": 1e-6, "void_fraction": 0.1},
    interface.maxwell_void_conductivity: {"conductivity": 80.0, "void_fraction": 0.1},
    interface.film_resistance: {"h": 1e4},
    interface.void_centre_rise: {"flux": 1e6, "radius": 1e-3, "conductivity": 120.0, "thickness": 1e-3},
    half_space.circle_isothermal: {"radius": 1e-3, "conductivity": 4.0},
    half_space.circle_isoflux_mean: {"radius": 1e-3, "conductivity": 4.0},
    half_space.circle_isoflux_centre: {"radius": 1e-3, "conductivity": 4.0},
    half_space.rectangle_isoflux_mean: {"length": 1e-3, "width": 1e-3, "conductivity": 4.0},
    half_space.rectangle_isoflux_centre: {"length": 1e-3, "width": 1e-3, "conductivity": 4.0},
    closed_form.closed_form_mean: {"eps": 0.2, "tau": 0.2, "biot": 0.2},
    closed_form.closed_form_centre: {"eps": 0.2, "tau": 0.2, "biot": 0.2},
    closed_form.closed_form_spreading: {
        "source_radius": 0.1, "radius": 0.2, "thickness": 0.1, "conductivity": 4.0, "h": 5.0
    },
    disk_on_rod: {"source_radius": 0.1, "radius": 0.2, "conductivity": 4.0},
    disk_on_disk: {
        "source_radius": 0.1, "radius": 0.2, "thickness": 0.1, "k_through": 4.0, "h": 5.0, "k_in_plane": 4.0,
        "r_above": 1e-5,
    },
    rectangle_on_flux_channel: {
        "size": SIZE, "source": SOURCE, "centre": PLACE, "thickness": 0.1, "k_through": 4.0, "h": 5.0,
        "k_in_plane": 4.0, "r_above": 1e-5,
    },
    rise_on_flux_channel: {
        "size": SIZE, "source": SOURCE, "centre": PLACE, "thickness": 0.1, "k_through": 4.0, "h": 5.0,
        "probe_centre": PLACE, "probe": SOURCE,
    },
}  # fmt: skip
HELD_ABOVE_NOT_AT_ZERO = {
    "bond_line",
    "contact",
    "void_fraction",
    "bare_area",
    "r_above",
    "centre",
    "probe_centre",
    "probe",
}


@pytest.mark.parametrize(("law", "name"), [(law, name) for law, good in BAD.items() for name in good])
def test_bad_input_names_the_argument_and_a_right_value(law, name):
    good = BAD[law]
    assert np.all(np.isfinite(law(**good)))
    for bad in (-1.0, np.nan, -np.inf) if name in HELD_ABOVE_NOT_AT_ZERO else (-1.0, 0.0, np.nan, -np.inf):
        value = np.array(good[name], dtype=float)
        value = np.full_like(value, bad) if value.ndim == 0 else np.where([False, True], bad, value)
        with pytest.raises(InputError) as caught:
            law(**(good | {"h" if name == "biot" and "h" in good else name: value}))
        assert caught.value.where == name
        assert caught.value.expected
        assert f"{bad:.6g}" in str(caught.value)
    with pytest.raises(InputError, match=name):
        law(**(good | {name: np.full(np.shape(good[name]) or (3,), np.nan)}))


@pytest.mark.parametrize(
    ("call", "where", "text"),
    [
        (lambda: conduction.cylinder_resistance(0.2, 0.1, 1.0, 1.0), "outer", "outer > inner"),
        (lambda: fins.annular_fin_efficiency(1.0, 1.0, 1.0, 0.2, 0.1), "outer", "outer > inner"),
        (lambda: shape_factors.buried_sphere(0.2, 0.1), "depth", "diameter / 2"),
        (lambda: shape_factors.two_cylinders(0.2, 0.2, 0.1), "distance", "half the sum"),
        (lambda: shape_factors.square_channel(0.1, 0.1), "outer", "outer > inner"),
        (lambda: interface.bond_line_resistance(1e-5, 1.0, 0.0, 1.0), "void_fraction", "0 <= x < 1"),
        (lambda: closed_form.closed_form_mean(1.2, 1.0, 1.0), "eps", "eps <= 1"),
        (lambda: disk_on_disk(0.2, 0.1, 0.1, 1.0, 1.0), "source_radius", "source_radius <= radius"),
        (lambda: disk_on_disk(0.1, 0.2, 0.1, 1.0, 1.0, terms=3), "terms", "50 or more"),
        (lambda: disk_on_disk(0.1, 0.2, THICK, COND, 1.0, r_above=[1e-5]), "r_above", "every layer"),
        (lambda: disk_on_disk(0.1, 0.2, THICK, COND[:2], 1.0), "k_through", "one value a layer"),
        (lambda: rectangle_on_flux_channel(0.1, SOURCE, None, 0.1, 1.0, 1.0), "size", "[0.04, 0.04]"),
        (lambda: rectangle_on_flux_channel(SIZE, 2 * SIZE, None, 0.1, 1.0, 1.0), "centre", "within the channel"),
        (lambda: rectangle_on_flux_channel(SIZE, SIZE / 1e5, None, 0.1, 1.0, 1.0), "source", "1/16384"),
        (lambda: rectangle_on_flux_channel(SIZE, SOURCE, None, 0.1, 1.0, 1.0, rtol=1e-9), "rtol", "1e-07"),
        (lambda: rectangle_on_flux_channel(SIZE, SOURCE, None, 0.1, 1.0, 1.0, far_face="x"), "far_face", "'film'"),
        (lambda: rise_on_flux_channel(SIZE, SOURCE, None, 0.1, 1.0, 1.0, 2 * SIZE), "probe_centre", "within"),
        (lambda: conduction.slab_specific_resistance("3 mm", 1.0), "thickness", "0.003 (m)"),
    ],
)
def test_what_does_not_fit_together(call, where, text):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.where == where
    assert text in str(caught.value)
