"""Strips and stacks of discs on the graph-and-arrays contract, against a series and quadratic finite elements."""

from dataclasses import replace

import numpy as np
import pytest
import skfem
from skfem.helpers import grad

from thermostack.errors import InputError
from thermostack.solvers.graph import ENVIRONMENT, Arrays, Contact, Graph, Probe, Source
from thermostack.solvers.sections import axisymmetric, cross_section_of_discs, cross_section_of_strip, strip
from thermostack.solvers.sections.flat import flatten_discs, flatten_strip
from thermostack.solvers.sections.stack_section import _section

MM, DEPTH = 1e-3, 10e-3


def band(low, high):
    """A rectangle over the whole depth, ends in mm."""
    return [low * MM, -DEPTH / 2, high * MM, DEPTH / 2]


def stack(slabs, blocks, contacts, sources, probes, *, r_above=None):
    """A graph with its arrays, one sample.

    slabs: (thickness mm, k through, k in plane); blocks: (number of slabs, x0 mm, x1 mm); contacts: (below, above,
    rectangle, r); sources: (block, rectangle); probes: (slab, side, rectangle).
    """
    t, through, in_plane = np.array(slabs, dtype=float).T[:, None, :]
    spans = np.array([[b[1], b[2]] for b in blocks]) * MM
    size = np.stack([spans[:, 1] - spans[:, 0], np.full(len(blocks), DEPTH)], axis=-1)
    centre = np.stack([spans.mean(axis=1), np.zeros(len(blocks))], axis=-1)
    graph = Graph(
        tuple(b[0] for b in blocks),
        tuple(Contact(c[0], c[1]) for c in contacts),
        tuple(Source(s[0]) for s in sources),
        tuple(Probe(p[0], p[1]) for p in probes),
    )
    return graph, Arrays(
        size=size[None],
        centre=centre[None],
        thickness=t * MM,
        k_through=through,
        k_in_plane=in_plane,
        r_above=np.zeros((1, len(slabs))) if r_above is None else np.array([r_above]),
        contact_rect=np.array([[c[2] for c in contacts]]),
        contact_r=np.array([[c[3] for c in contacts]]),
        source_rect=np.array([[s[1] for s in sources]]),
        probe_rect=np.array([[p[2] for p in probes]]),
    )


def squares(graph, arrays, sides):
    """Arrays with every rectangle a centred square instead: sides in mm of blocks, contacts, sources, probes."""

    def rect(side):
        return [-side / 2 * MM, -side / 2 * MM, side / 2 * MM, side / 2 * MM]

    blocks, contacts, sources, probes = sides
    return graph, replace(
        arrays,
        size=np.array([[[s * MM, s * MM] for s in blocks]]),
        centre=np.zeros((1, len(blocks), 2)),
        contact_rect=np.array([[rect(s) for s in contacts]]),
        source_rect=np.array([[rect(s) for s in sources]]),
        probe_rect=np.array([[rect(s) for s in probes]]),
    )


def two_dies(r_die=5e-6, r_paste=1e-5):
    """Two dies of unlike width under one lid, off-centre; one sits on the board as well; a hot region in it."""
    return stack(
        [(0.72, 120.0, 120.0), (0.25, 80.0, 80.0), (0.97, 110.0, 110.0), (2.4, 390.0, 390.0), (3.0, 200.0, 390.0)],
        [(2, -13, -1), (1, 2, 10), (1, -18, 18), (1, -25, 25)],
        [
            (0, 2, band(-13, -1), r_die),
            (1, 2, band(2, 10), r_die),
            (2, 3, band(-18, 18), r_paste),
            (3, ENVIRONMENT, band(-20, 20), 1 / 35e3),
            (ENVIRONMENT, 0, band(-13, -1), 1e-3),
        ],
        [(0, band(-13, -1)), (0, band(-12, -10)), (1, band(2, 10))],
        [
            (0, 0, band(-13, -1)),
            (0, 0, band(-12, -10)),
            (2, 0, band(2, 10)),
            (4, 1, [0.0, 0.0, 0.0, 0.0]),
            (0, 0, [-11 * MM, 1 * MM, -11 * MM, 1 * MM]),
            (3, 0, [-18 * MM, 0.0, -18 * MM, 0.0]),
        ],
    )


def die_and_lid(r_paste):
    """One column: die on board, lid, plate with a wetted part; the plate conducts better in its plane."""
    graph, arrays = stack(
        [(0.72, 120.0, 120.0), (0.25, 80.0, 80.0), (2.4, 390.0, 390.0), (3.0, 200.0, 390.0)],
        [(2, -6, 6), (1, -18, 18), (1, -25, 25)],
        [
            (0, 1, band(-6, 6), 0.0),
            (1, 2, band(-18, 18), r_paste),
            (2, ENVIRONMENT, band(-20, 20), 1 / 35e3),
            (ENVIRONMENT, 0, band(-6, 6), 1e-3),
        ],
        [(0, band(-6, 6)), (0, band(-2, 2))],
        [(0, 0, band(-6, 6)), (0, 0, band(-2, 2)), (0, 0, [0.0] * 4), (1, 1, band(-6, 6)), (3, 1, band(-20, 20))],
    )
    return squares(
        graph, arrays, ([14.0, 36.0, 50.0], [14.0, 36.0, 40.0, 14.0], [14.0, 5.0], [14.0, 5.0, 0.0, 14.0, 40.0])
    )


# second road: quadratic finite elements --------------------------------------------------------------------------


def finite_elements(graph, arrays, flat, refinements):
    """Influence by quadratic finite elements on the section's grid, cells cut into triangles; perfect contacts only."""
    section = _section(graph, arrays, 0, flat)
    for _ in range(refinements):
        section = section.halved()
    x, z = section.x.lines, section.z.lines
    nodes = np.array(np.meshgrid(x, z, indexing="ij")).reshape(2, -1)
    number = np.arange(x.size * z.size).reshape(x.size, z.size)
    quads = np.array([number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]])[:, section.active]
    used, compact = np.unique(quads, return_inverse=True)
    mesh = skfem.MeshQuad(np.ascontiguousarray(nodes[:, used]), compact.reshape(quads.shape)).to_meshtri()
    basis = skfem.Basis(mesh, skfem.ElementTriP2())
    centroid = mesh.p[:, mesh.t].mean(axis=1)
    cell = np.searchsorted(x, centroid[0]) - 1, np.searchsorted(z, centroid[1]) - 1
    piecewise = basis.with_element(skfem.ElementTriP0())
    k_x, k_z = (piecewise.interpolate(k[cell]) for k in section.conductivities(np.zeros(section.shape)))

    def measure(w):
        return 2 * np.pi * w.x[0] if flat.discs else flat.depth

    stiffness = skfem.BilinearForm(
        lambda u, v, w: measure(w) * (w.kx * grad(u)[0] * grad(v)[0] + w.kz * grad(u)[1] * grad(v)[1])
    ).assemble(basis, kx=k_x, kz=k_z)

    def on(height, over):
        middle = mesh.p[:, mesh.facets].mean(axis=1)
        flat_facets = np.ptp(mesh.p[1, mesh.facets], axis=0) < 1e-12
        inside = (middle[0] > over[0]) & (middle[0] < over[1])
        chosen = np.flatnonzero(flat_facets & inside & (np.abs(middle[1] - height) < 1e-10))
        return skfem.FacetBasis(mesh, skfem.ElementTriP2(), facets=chosen)

    for contact, over, r in zip(graph.contacts, flat.contacts, arrays.contact_r[0], strict=True):
        if ENVIRONMENT in (contact.below, contact.above):
            film = skfem.BilinearForm(lambda u, v, w, r=r: measure(w) / r * u * v)
            stiffness = stiffness + film.assemble(on(flat.height(contact), over))
        else:
            assert r == 0.0
    mean = skfem.LinearForm(lambda v, w: measure(w) * v)
    loads = [
        mean.assemble(on(flat.planes[s.block][0], over)) / flat.area(over)
        for s, over in zip(graph.sources, flat.sources, strict=True)
    ]
    solutions = skfem.solve(stiffness, np.array(loads).T, solver=lambda a, b: skfem.solver_direct_scipy()(a, b))
    rows = []
    for probe, over in zip(graph.probes, flat.probes, strict=True):
        block = graph.block_of_slab[probe.slab]
        height = flat.planes[block][probe.slab - graph.first_slab[block] + probe.side]
        if over[1] > over[0]:
            rows.append(mean.assemble(on(height, over)) / flat.area(over) @ solutions)
        else:
            vertex = np.argmin(np.abs(mesh.p[0] - over[0]) + np.abs(mesh.p[1] - height))
            rows.append(solutions[basis.nodal_dofs[0, vertex]])
    return np.array(rows)


@pytest.mark.parametrize("kind", ["strip", "discs"])
def test_stepped_stacks_agree_with_finite_elements(kind):
    """Perfect contacts, where the flux at the die's corners is most singular; the stated error holds the difference."""
    if kind == "strip":
        graph, arrays = two_dies(0.0, 0.0)
        response, flat = strip(graph, arrays), flatten_strip(graph, arrays, 0)
    else:
        graph, arrays = die_and_lid(0.0)
        response, flat = axisymmetric(graph, arrays), flatten_discs(graph, arrays, 0)
    coarse, fine = (finite_elements(graph, arrays, flat, n) for n in (0, 1))
    own_error = np.abs(fine - coarse)  # quadratic elements: what is left after the last halving is less than it changed
    assert np.max(own_error / fine) < 2e-5
    assert np.max(response.error / response.influence) < 1e-4
    assert np.all(np.abs(response.influence[0] - fine) <= response.error[0] + own_error)


def test_strip_agrees_with_the_series_of_a_flux_channel():
    """One block, two layers with a joint between them, source off-centre; cosine series summed to rounding."""
    width, x0, x1, r, h = 40.0, 7.0, 15.0, 4e-6, 8e3
    layers = [(1.2, 90.0, 160.0), (3.0, 390.0, 390.0)]
    graph, arrays = stack(
        layers,
        [(2, 0, width)],
        [(0, ENVIRONMENT, band(0, width), 1 / h)],
        [(0, band(x0, x1))],
        [(0, 0, band(x0, x1)), (0, 0, [11 * MM, 0.0, 11 * MM, 0.0]), (1, 0, band(0, 20))],
        r_above=[r, 0.0],
    )
    response = strip(graph, arrays)
    n = np.arange(1, 400_000)
    z = n * np.pi / (width * MM)
    impedance, through = np.full(n.shape, 1 / h), np.ones(n.shape)
    uniform = 1 / h
    for (t, k_z, k_x), joint in zip(layers[::-1], [0.0, r], strict=True):
        impedance = impedance + joint
        characteristic, eta = 1 / (np.sqrt(k_x * k_z) * z), z * np.sqrt(k_x / k_z) * t * MM
        tanh = np.tanh(eta)
        above = impedance
        impedance = characteristic * (above + characteristic * tanh) / (characteristic + above * tanh)
        # share of the flux that goes on: 1/(cosh + (Z/Zc) sinh) written so that it cannot overflow
        through = 2 * np.exp(-eta) / (1 + np.exp(-2 * eta) + above / characteristic * -np.expm1(-2 * eta))
        uniform += joint + t * MM / k_z
        if joint == 0.0:
            plate = impedance  # of the upper layer, at its lower face
            uniform_plate = uniform

    def mean_cosine(a, b):
        return (np.sin(z * b * MM) - np.sin(z * a * MM)) / (z * (b - a) * MM)

    area = width * MM * DEPTH
    flux = 2 * mean_cosine(x0, x1) / area
    expected = [
        uniform / area + np.sum(flux * impedance * mean_cosine(x0, x1)),
        uniform / area + np.sum(flux * impedance * np.cos(z * 11 * MM)),
        uniform_plate / area + np.sum(flux * through * plate * mean_cosine(0, 20)),
    ]
    assert np.max(response.error[0] / response.influence[0]) < 1e-4
    assert np.all(np.abs(response.influence[0, :, 0] - expected) <= response.error[0, :, 0])


# what must hold whatever the numbers -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def solved():
    return strip(*two_dies())


def test_influence_is_symmetric(solved):
    """Source n and probe n cover the same rectangle: reciprocity."""
    square = solved.influence[0, :3]
    assert square == pytest.approx(square.T, rel=1e-8)


def test_all_heat_arrives(solved):
    """The lid passes on what the dies give it; coolant and board take it all; 1e-8 is the rounding of the flows."""
    flow = solved.flow[0]
    assert flow[0] + flow[1] == pytest.approx(flow[2], abs=1e-8)
    assert flow[2] == pytest.approx(flow[3], abs=1e-8)
    assert flow[3] - flow[4] == pytest.approx(1.0, abs=1e-8)
    assert np.all(flow[4] < 0.0)


def test_mirrored_stack(solved):
    graph, arrays = two_dies()
    flip = {
        name: getattr(arrays, name)[..., [2, 1, 0, 3]] * [-1, 1, -1, 1]
        for name in ("contact_rect", "source_rect", "probe_rect")
    }
    other = strip(graph, replace(arrays, centre=arrays.centre * [-1, 1], **flip))
    assert other.influence == pytest.approx(solved.influence, rel=1e-8)


def test_split_contact_of_one_resistance_is_one_contact(solved):
    graph, arrays = two_dies()
    contacts = (*graph.contacts[:2], Contact(2, 3), Contact(2, 3), *graph.contacts[3:])
    rect, r = arrays.contact_rect[0], arrays.contact_r[0]
    split = replace(
        arrays,
        contact_rect=np.array([[rect[0], rect[1], band(-18, 4), band(4, 18), rect[3], rect[4]]]),
        contact_r=np.array([[r[0], r[1], r[2], r[2], r[3], r[4]]]),
    )
    response = strip(replace(graph, contacts=contacts), split)
    assert np.all(np.abs(response.influence - solved.influence) <= response.error + solved.error)
    void = replace(split, contact_r=np.array([[r[0], r[1], r[2], 1e3, r[3], r[4]]]))
    with_void = strip(replace(graph, contacts=contacts), void)
    assert np.all(with_void.influence[0, 2, 2] > 1.02 * solved.influence[0, 2, 2])
    assert np.all(np.abs(with_void.flow[0, 3]) < 1e-3)


def test_blocks_that_touch_without_a_contact_are_insulated():
    """Two dies side by side, a lid over both, no contact to the second: it cannot warm up, nor carry heat."""
    graph, arrays = stack(
        [(1.0, 100.0, 100.0), (1.0, 100.0, 100.0), (2.0, 390.0, 390.0)],
        [(1, 0, 10), (1, 10, 20), (1, 0, 20)],
        [
            (0, 2, band(0, 10), 1e-6),
            (1, 2, band(18, 20), 1e-6),
            (2, ENVIRONMENT, band(0, 20), 1e-4),
        ],
        [(0, band(0, 10))],
        [
            (1, 0, [10 * MM, 0.0, 10 * MM, 0.0]),
            (1, 0, [20 * MM, 0.0, 20 * MM, 0.0]),
            (0, 0, [10 * MM, 0.0, 10 * MM, 0.0]),
        ],
    )
    response = strip(graph, arrays)
    assert response.flow[0, 1, 0] == pytest.approx(0.0, abs=1e-9)  # a dead end carries nothing
    at_wall, at_far_end, in_die = response.influence[0, :, 0]
    assert at_wall == pytest.approx(at_far_end, rel=0.02)  # it takes the lid's temperature where it touches
    assert in_die > 1.3 * at_wall


def test_square_column_of_one_footprint_is_exact():
    graph, arrays = die_and_lid(3e-6)
    graph, arrays = squares(graph, arrays, ([20.0] * 3, [20.0] * 4, [20.0] * 2, [20.0, 20.0, 0.0, 20.0, 20.0]))
    response = axisymmetric(graph, arrays)
    area = (20 * MM) ** 2
    up = (0.72e-3 / 120 + 0.25e-3 / 80 + 2.4e-3 / 390 + 3e-6 + 3e-3 / 200 + 1 / 35e3) / area
    down = 1e-3 / area
    expected = 1 / (1 / up + 1 / down)
    assert response.influence[0, :3] == pytest.approx(expected, rel=1e-9)
    assert response.influence[0, 4] == pytest.approx(expected / up / 35e3 / area, rel=1e-9)
    assert response.flow[0, 3] == pytest.approx(-expected / down, rel=1e-9)


def test_samples_share_single_rows():
    graph, arrays = die_and_lid(3e-6)
    both = replace(arrays, contact_r=np.repeat(arrays.contact_r, 2, axis=0) * [[1.0], [2.0]])
    response = axisymmetric(graph, both)
    assert response.influence.shape == response.error.shape == (2, 5, 2)
    for sample in (0, 1):
        alone = axisymmetric(graph, replace(arrays, contact_r=both.contact_r[[sample]]))
        assert response.influence[sample] == pytest.approx(alone.influence[0], rel=1e-12)
    assert not np.allclose(response.influence[0], response.influence[1], rtol=0.01)


# to draw ---------------------------------------------------------------------------------------------------------


def test_cross_sections_show_what_is_solved():
    graph, arrays = two_dies()
    picture = cross_section_of_strip(graph, arrays, [20.0, 5.0, 10.0])
    rises = strip(graph, arrays).influence[0] @ [20.0, 5.0, 10.0]
    assert picture.temperature.shape == picture.slab.shape == (picture.x.size - 1, picture.z.size - 1)
    assert np.array_equal(np.isnan(picture.temperature), picture.slab == -1)
    assert picture.field.at(-11 * MM, picture.z[0], "above") == pytest.approx(rises[4], rel=3e-3)
    middle = np.searchsorted(picture.x, 6 * MM), np.searchsorted(picture.z, 0.5 * MM)
    assert picture.slab[middle] == 2
    assert picture.slab[np.searchsorted(picture.x, 1 * MM), 0] == -1
    discs = cross_section_of_discs(*die_and_lid(3e-6), [20.0, 5.0])
    assert discs.x[-1] == pytest.approx(50 * MM / np.sqrt(np.pi))
    assert np.nanmax(discs.temperature) == discs.temperature[0, 0]
    with pytest.raises(InputError, match="1 powers"):
        cross_section_of_strip(graph, arrays, [20.0])


# errors ----------------------------------------------------------------------------------------------------------


def changed(arrays, name, where, value):
    array = getattr(arrays, name).copy()
    array[where] = value
    return replace(arrays, **{name: array})


@pytest.mark.parametrize(
    ("name", "where", "value", "words"),
    [
        ("size", (0, 1, 1), 8 * MM, "block 1 spans y"),
        ("contact_rect", (0, 3, 3), 4 * MM, "contact 3 spans y"),
        ("source_rect", (0, 1, 1), 0.0, "source 1 spans y"),
        ("probe_rect", (0, 0, 3), 6 * MM, "probe 0 spans y"),
        ("contact_rect", (0, 0, 0), -14 * MM, "contact 0 spans"),
        ("source_rect", (0, 2, 2), 11 * MM, "source 2 spans"),
        ("source_rect", (0, 1, 2), -12 * MM, "source 1 spans"),
        ("centre", (0, 1, 0), 1 * MM, "contact 1 spans|overlap"),
        ("thickness", (0, 2), -1 * MM, "overlap|empty|rise|height"),
        ("k_in_plane", (0, 3), 0.0, "conductivity"),
        ("contact_r", (0, 2), -1.0, "joint with r"),
    ],
)
def test_strip_refuses(name, where, value, words):
    graph, arrays = two_dies()
    with pytest.raises(InputError, match=words):
        strip(graph, changed(arrays, name, where, value))


def test_strip_refuses_heights_that_do_not_close():
    """Two dies of unlike height on one board block, under one lid."""
    graph, arrays = stack(
        [(1.0, 1.0, 1.0), (0.7, 120.0, 120.0), (0.8, 120.0, 120.0), (2.0, 390.0, 390.0)],
        [(1, 0, 30), (1, 1, 10), (1, 12, 20), (1, 0, 30)],
        [
            (0, 1, band(1, 10), 1e-6),
            (0, 2, band(12, 20), 1e-6),
            (1, 3, band(1, 10), 1e-6),
            (2, 3, band(12, 20), 1e-6),
            (3, ENVIRONMENT, band(0, 30), 1e-4),
        ],
        [(1, band(1, 10))],
        [(1, 0, band(1, 10))],
    )
    with pytest.raises(InputError, match="not at one height"):
        strip(graph, arrays)
    assert strip(graph, changed(arrays, "thickness", (0, 2), 0.7 * MM)).influence[0, 0, 0] > 0.0
    apart = replace(graph, contacts=tuple(c for c in graph.contacts if c.below != 0))
    keep = [2, 3, 4]
    with pytest.raises(InputError, match="hang together"):
        strip(apart, replace(arrays, contact_rect=arrays.contact_rect[:, keep], contact_r=arrays.contact_r[:, keep]))


@pytest.mark.parametrize(
    ("name", "where", "value", "words"),
    [
        ("centre", (0, 1, 0), 1 * MM, "block 1 .* off the axis.*layered"),
        ("source_rect", (0, 1), [0.0, 0.0, 2 * MM, 2 * MM], "source 1 .* off the axis"),
        ("probe_rect", (0, 2), [1 * MM, 0.0, 1 * MM, 0.0], "probe 2 .* off the axis"),
        ("probe_rect", (0, 2), [-1 * MM, 0.0, 1 * MM, 0.0], "probe 2 is a line"),
        ("contact_rect", (0, 2), [-30 * MM, -30 * MM, 30 * MM, 30 * MM], "contact 2 spans"),
    ],
)
def test_axisymmetric_refuses(name, where, value, words):
    graph, arrays = die_and_lid(3e-6)
    with pytest.raises(InputError, match=words):
        axisymmetric(graph, changed(arrays, name, where, value))


def test_axisymmetric_refuses_more_than_one_column():
    with pytest.raises(InputError, match=r"single column.*layered"):
        axisymmetric(*two_dies())
