"""Spreading resistance against closed forms, published formulas, and series checked by finite elements.

Rows come from data/verification.csv; its source and provenance columns say what is published from memory and what was
recomputed. RECT rows are plain sums of 5000 x 5000 terms, DISK rows Bessel series; both agree with extrapolated
quadratic finite elements to what the source column says. Values stand there with ten significant digits.
"""

from __future__ import annotations

import csv
import json
import warnings
from pathlib import Path

import numpy as np
import pytest

from thermostack.errors import ThermostackWarning
from thermostack.laws import closed_form, spreading
from thermostack.laws.disk import disk_on_disk, disk_on_rod
from thermostack.laws.flux_channel import rectangle_on_flux_channel, rise_on_flux_channel
from thermostack.laws.impedance import layered_impedance

ROWS = [
    row | {"inputs": json.loads(row["inputs_json"]), "value": float(row["value"])}
    for row in csv.DictReader((Path(__file__).parent / "data" / "verification.csv").read_text("utf-8").splitlines())
]


def rows_of(start):
    return [r for r in ROWS if r["case_id"].startswith(start)]


def row_id(row):
    return f"{row['case_id']}-{row['quantity'].split()[0]}"


def tolerance(row):
    """Absolute tolerance of a row, and never less than the rounding of ten digits."""
    kind, _, size = row["tolerance"].partition(":")
    stated = 0.0 if kind.startswith("exact") else float(size.split()[0]) * (abs(row["value"]) if kind == "rel" else 1)
    return max(stated, 0.5 * 10.0 ** (np.floor(np.log10(abs(row["value"]))) - 9))


def part(found, quantity):
    return {
        "R_1D": found.one_dimensional,
        "R_total_mean": found.mean,
        "R_total_centre": found.centre,
        "R_spreading_mean": found.spreading_mean,
        "R_spreading_centre": found.spreading_centre,
    }[quantity]


def channel(x, **options):
    t, k = np.array(x["layers_t_k"]).T
    return rectangle_on_flux_channel(
        [x["Lx"], x["Ly"]],
        [x["src_x"], x["src_y"]],
        [x["xc"], x["yc"]],
        t,
        k,
        x["h"],
        r_above=[*x.get("R_contact", [0.0] * (len(t) - 1)), 0.0],
        **options,
    )


@pytest.mark.parametrize("row", rows_of("HS-"), ids=row_id)
def test_half_space(row):
    """Carslaw & Jaeger 1959 sec. 8.2; Yovanovich & Marotta 2003 ch. 4 (from memory, cross-checked by quadrature)."""
    k, name = 7.0, row["case_id"]
    if "circle" in name:
        a = 0.3
        law = {"isothermal": spreading.circle_isothermal, "mean": spreading.circle_isoflux_mean}
        found = 4 * k * a * law.get(name.rsplit("-", 1)[1], spreading.circle_isoflux_centre)(a, k)
    else:
        width = 0.2
        length = width * row["inputs"].get("aspect", 1)
        law = spreading.rectangle_isoflux_mean if name.endswith("mean") else spreading.rectangle_isoflux_centre
        found = k * np.sqrt(length * width) * law(length, width, k)
        assert law(width, length, k) == pytest.approx(law(length, width, k), rel=1e-12)
    assert found == pytest.approx(row["value"], abs=tolerance(row))


@pytest.mark.parametrize("row", rows_of("TUBE-"), ids=row_id)
def test_semi_infinite_tube(row):
    eps, k, b = row["inputs"]["eps"], 30.0, 0.02
    found = 4 * k * eps * b * disk_on_rod(eps * b, b, k)
    assert found == pytest.approx(row["value"], abs=tolerance(row))
    # Negus & Yovanovich 1984 (polynomial from memory): within 0.02 % to eps 0.3, 0.08 % at 0.5, 0.41 % at 0.8
    polynomial = 1.08085 - 1.41002 * eps + 0.26604 * eps**3 - 0.00016 * eps**5 + 0.058266 * eps**7
    assert polynomial == pytest.approx(found, rel=2.5e-4 if eps <= 0.3 else 8.5e-4 if eps <= 0.5 else 4.15e-3)


@pytest.mark.parametrize("row", [r for r in rows_of("DISK-") if not r["case_id"].endswith("Lee")], ids=row_id)
def test_disk_on_disk(row):
    x = row["inputs"]
    t, k = np.array(x["layers_t_k"]).T
    found = part(disk_on_disk(x["a"], x["b"], t, k, x["h"]), row["quantity"])
    assert found == pytest.approx(row["value"], abs=tolerance(row))


@pytest.mark.parametrize("row", rows_of("RECT-"), ids=row_id)
def test_rectangle_on_flux_channel(row):
    found = part(channel(row["inputs"], rtol=1e-6), row["quantity"])
    assert found == pytest.approx(row["value"], abs=tolerance(row))
    quick = part(channel(row["inputs"]), row["quantity"])
    assert quick == pytest.approx(row["value"], rel=1e-5)


@pytest.mark.parametrize("row", [r for r in rows_of("DISK-") if r["case_id"].endswith("Lee")], ids=row_id)
def test_closed_form_as_a_formula(row):
    """Lee, Song, Au & Moran 1995 (from memory)."""
    x = row["inputs"]
    ((t, k),) = x["layers_t_k"]
    groups = x["a"] / x["b"], t / x["b"], x["h"] * x["b"] / k
    law = closed_form.closed_form_mean if "ave" in row["quantity"] else closed_form.closed_form_centre
    assert law(*groups) == pytest.approx(row["value"], abs=tolerance(row))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ThermostackWarning)  # D3 and D5 lie outside, on purpose
        whole = closed_form.closed_form_spreading(x["a"], x["b"], t, k, x["h"])
    psi = whole.spreading_mean if "ave" in row["quantity"] else whole.spreading_centre
    assert np.sqrt(np.pi) * k * x["a"] * psi == pytest.approx(row["value"], abs=tolerance(row))
    assert whole.one_dimensional == pytest.approx(disk_on_disk(x["a"], x["b"], t, k, x["h"]).one_dimensional, rel=1e-12)


@pytest.mark.parametrize(
    ("case", "mean", "centre"),
    [("D1", -4.7, -0.2), ("D2", -6.7, -4.2), ("D3", 13.2, 14.2), ("D4", -1.8, 6.4), ("D5", 3.4, 8.2), ("D6", 7.6, 1.6)],
)
def test_error_of_the_closed_form(case, mean, centre):
    """Spreading part against the series, per cent: computed for this project. **The claimed 10 % fails for D3**."""
    x = rows_of(f"DISK-{case}")[0]["inputs"]
    ((t, k),) = x["layers_t_k"]
    approximate = closed_form.closed_form_spreading(x["a"], x["b"], t, k, x["h"], warn=False)
    series = disk_on_disk(x["a"], x["b"], t, k, x["h"])
    assert 100 * (approximate.spreading_mean / series.spreading_mean - 1) == pytest.approx(mean, abs=0.05)
    assert 100 * (approximate.spreading_centre / series.spreading_centre - 1) == pytest.approx(centre, abs=0.05)


def scan(eps, tau, biot):
    """Error of the closed form's two spreading parts over a grid of its groups, per cent."""
    eps, tau, biot = np.meshgrid(eps, tau, biot, indexing="ij")
    approximate = closed_form.closed_form_spreading(eps, 1.0, tau, 1.0, biot, warn=False)
    series = disk_on_disk(eps, 1.0, tau[..., None], np.ones(1), biot)
    return (
        100 * (approximate.spreading_mean / series.spreading_mean - 1),
        100 * (approximate.spreading_centre / series.spreading_centre - 1),
    )


def test_closed_form_holds_within_its_range():
    """tau >= 0.1, Bi <= 1, eps <= 0.6: mean -8.5..+3.4 %, centre -5.4..+11.8 % (computed for this project).

    Lee et al. claim about 10 % "in the range of interest" (from memory); with the centre that is 12 %.
    """
    mean, centre = scan(np.linspace(0.1, 0.6, 6), np.geomspace(0.1, 2, 9), np.geomspace(0.01, 1, 9))
    assert (mean.min(), mean.max()) == pytest.approx((-8.5, 3.4), abs=0.2)
    assert (centre.min(), centre.max()) == pytest.approx((-5.4, 11.8), abs=0.2)
    assert max(abs(mean).max(), abs(centre).max()) < 12


def test_closed_form_fails_outside_its_range():
    """**The 10 % claim does not hold outside**: mean down to -31 %, centre up to +71 % (computed for this project)."""
    mean, centre = scan(np.linspace(0.1, 0.8, 8), np.geomspace(0.01, 2, 9), np.geomspace(0.01, 1e4, 13))
    assert mean.min() == pytest.approx(-31, abs=1)
    assert centre.max() == pytest.approx(71, abs=1)


# published formulas in their own form, as second roads


def test_two_layer_factor_of_yovanovich_muzychka_culham():
    """J. Thermophys. Heat Transf. 13 (1999) 495, φ of two layers (from memory): equals the recursion."""
    z, t1, t2, k1, k2, h = np.geomspace(10, 3e3, 40), 0.5e-3, 3e-3, 120.0, 400.0, 1e4
    al, rho = (1 - k2 / k1) / (1 + k2 / k1), (z + h / k2) / (z - h / k2)
    e = np.exp
    resistive = (
        (al * e(4 * z * t1) + e(2 * z * t1)) + rho * (e(2 * z * (2 * t1 + t2)) + al * e(2 * z * (t1 + t2)))
    ) / ((al * e(4 * z * t1) - e(2 * z * t1)) + rho * (e(2 * z * (2 * t1 + t2)) - al * e(2 * z * (t1 + t2))))
    t, k = np.array([t1, t2]), np.array([k1, k2])
    assert k1 * z * layered_impedance(z, t, k, k, np.zeros(2), 1 / h) == pytest.approx(resistive, rel=1e-12)


@pytest.mark.parametrize("case", ["E1", "E2", "E4", "E6"])
def test_eccentric_source_of_muzychka_culham_yovanovich(case):
    """J. Electron. Packag. 125 (2003) 178 (from memory): coefficients A_m, A_n, A_mn as printed, 600 terms an axis.

    Cut off there, the plain sum is short by less than 2e-4 of the mean.
    """
    x = rows_of(f"RECT-{case}")[0]["inputs"]
    a, b, c, d, xc, yc, h = (x[n] for n in ("Lx", "Ly", "src_x", "src_y", "xc", "yc", "h"))
    t, k = np.array(x["layers_t_k"]).T
    one = (np.sum(t / k) + 1 / h) / (a * b)
    lam, dlt = (np.pi * np.arange(1, 601) / side for side in (a, b))

    def conductive(z):
        return 1 / (k[0] * z * layered_impedance(z, t, k, k, np.zeros(len(t)), 1 / h))

    beta = np.hypot(lam[:, None], dlt[None, :])
    a_m = 2 * (np.sin((2 * xc + c) * lam / 2) - np.sin((2 * xc - c) * lam / 2))
    a_m /= a * b * c * k[0] * lam**2 * conductive(lam)
    a_n = 2 * (np.sin((2 * yc + d) * dlt / 2) - np.sin((2 * yc - d) * dlt / 2))
    a_n /= a * b * d * k[0] * dlt**2 * conductive(dlt)
    x_m, y_n = np.cos(lam * xc) * np.sin(lam * c / 2), np.cos(dlt * yc) * np.sin(dlt * d / 2)
    a_mn = 16 * x_m[:, None] * y_n / (a * b * c * d * k[0] * beta * lam[:, None] * dlt)
    a_mn /= conductive(beta.ravel()).reshape(beta.shape)
    mean = one + 2 * np.sum(a_m * x_m / (lam * c)) + 2 * np.sum(a_n * y_n / (dlt * d))
    mean += 4 * np.sum(a_mn * y_n * x_m[:, None] / (lam[:, None] * c * dlt * d))
    found = channel(x, rtol=1e-6)
    assert found.mean == pytest.approx(mean, rel=2e-4)
    assert found.mean > mean  # every term left out is positive
    # a point well away from the source converges without help
    px, py = 0.8 * a, 0.3 * b
    point = one + np.sum(a_m * np.cos(lam * px)) + np.sum(a_n * np.cos(dlt * py))
    point += np.cos(lam * px) @ a_mn @ np.cos(dlt * py)
    rise = rise_on_flux_channel([a, b], [c, d], [xc, yc], t, k, h, [px, py], rtol=1e-6)
    assert rise == pytest.approx(point, abs=1e-5 * found.mean)
