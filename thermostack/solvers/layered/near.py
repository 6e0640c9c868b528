"""The rise close to a heat source, at points: what the Gaussians of `modes` would blur near the edge of a source.

With 1/γ = (2/√π) ∫₀^∞ exp(−γ²t²) dt cut at t₀, long times are smooth and stay a sum over the modes of the box, with
erf(γt₀)/γ taken off the impedance; short times are heat kernels, which separate by axis and are error functions.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from thermostack.solvers.layered.coefficients import gauss
from thermostack.solvers.layered.faces import BlockModes
from thermostack.solvers.layered.patches import LOWER, Patch

REACH = 3.5
"""γ_b t₀ here: erfc(3.5) = 1e-6 of what lies just outside the box is lost."""

__all__ = ["kernel_mean", "rise_at_points"]

Float = NDArray[np.float64]


@lru_cache(maxsize=1)
def _rule() -> tuple[Float, Float]:
    """Nodes and weights on 0 … 1, dense towards 0: t = v³ on a Gauss rule in v."""
    v, w = gauss(24)
    v, w = 0.5 * (1.0 + v), 0.5 * w
    return v**3, 3.0 * v**2 * w


def kernel_mean(x: Float, low: Float, high: Float, length: Float, t: Float) -> Float:
    r"""Mean over a source of the heat kernel of an axis with adiabatic ends, times the length of the axis.

    .. math:: \sum_m \psi_m(x) C_m e^{-(m\pi t/a)^2} = \frac{a}{w}\sum_{images}
        \tfrac12\left[\mathrm{erf}\frac{x - x_0}{2t} - \mathrm{erf}\frac{x - x_1}{2t}\right]

    Parameters
    ----------
    x, low, high, length : ndarray
        Point, ends of the source and length of the axis; broadcast against each other. [m]
    t : ndarray
        Square root of diffusivity times time, up to a third of the length. [m]

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, sec. 2.2 and 10.2 (line source, method of images).
    """
    total = np.zeros(np.broadcast_shapes(x.shape, low.shape, length.shape, t.shape))
    for image in (x, -x, 2.0 * length - x):
        total += 0.5 * (erf((image - low) / (2.0 * t)) - erf((image - high) / (2.0 * t)))
    return np.asarray(total * length / (high - low))


def rise_at_points(block: BlockModes, points: Patch, sources: Patch) -> Float:
    """Rise at points of the lower face by a watt in rectangles of it, with nothing crossing the contacts.

    Parameters
    ----------
    block : BlockModes
        With all modes, or with those that all sources excite.
    points, sources : Patch
        Rectangles without extent, and with; on the lower face.

    Returns
    -------
    ndarray, shape (S, points, sources)
        [K/W]
    """
    t_end = REACH / block.limit
    gamma = np.maximum(block.gamma, 1e-12 / t_end[:, None, None])
    near = erf(gamma * t_end[:, None, None]) / gamma
    Z = block.impedance(LOWER, LOWER) - block.half_space(LOWER)[:, None, None] * near
    m, n = block.inside
    x, y = (
        a[:, :, None, 0, :k] * b[:, None, :, 0, :k]
        for a, b, k in zip(points.coefficients, sources.coefficients, (m, n), strict=True)
    )
    far = np.einsum("gpsm,gpsm->gps", x @ Z[:, None], y)
    nodes, weights = _rule()
    product = (2.0 / np.sqrt(np.pi)) * (t_end[:, None] * weights)[:, None, None, :]
    for axis, modes in enumerate(block.axes):
        (at, _), (low, high) = points.ends[axis], sources.ends[axis]
        t = (t_end[:, None] * nodes)[:, None, None, :]
        product = product * kernel_mean(
            at[:, :, None, None], low[:, None, :, None], high[:, None, :, None], modes.length[:, None, None, None], t
        )
    rise = far + product.sum(axis=-1) * block.half_space(LOWER)[:, None, None]
    return np.asarray(rise / block.area[:, None, None])
