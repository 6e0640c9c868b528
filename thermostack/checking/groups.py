"""Causes that what was recorded cannot split.

The signature of a cause is the direction in which it moves the readings, whitened by their noise and by all inputs that
are uncertain. Two causes are apart by the sine of the angle between their signatures, times by how many standard
deviations the readings moved at all.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import squareform

__all__ = ["SPLIT", "angles", "groups_of"]

Float = NDArray[np.float64]

SPLIT = 2.0
"""Standard deviations from which two causes are told apart; the odds between them are then e² = 7 to 1."""


def angles(signatures: Float, lines: NDArray[np.bool_]) -> Float:
    """Return the sines of the angles between whitened signatures (K, D), shape (K, K); 1 beyond a right angle.

    Parameters
    ----------
    lines : ndarray of bool (K,)
        Signatures of causes whose sign is open: they are lines, not rays.
    """
    length = np.linalg.norm(signatures, axis=1)
    unit = signatures / np.where(length > 0, length, 1.0)[:, None]
    cosine = np.clip(unit @ unit.T, -1.0, 1.0)
    cosine = np.where(lines[:, None] | lines, np.abs(cosine), cosine)
    sine = np.sqrt(np.maximum(1.0 - cosine**2, 0.0))
    sine = np.where(cosine > 0, sine, 1.0)
    np.fill_diagonal(sine, 0.0)
    return np.asarray(sine)


def groups_of(signatures: Float, lines: NDArray[np.bool_], moved: float) -> NDArray[np.intp]:
    """Return the group of each cause, counted from 0: within a group no two are told apart (complete linkage).

    Parameters
    ----------
    signatures : ndarray (K, D)
        Whitened.
    lines : ndarray of bool (K,)
    moved : float
        By how many standard deviations the readings moved. Below `SPLIT` all causes are one group.
    """
    if len(signatures) < 2:
        return np.zeros(len(signatures), dtype=np.intp)
    distance = moved * angles(signatures, lines)
    tree = linkage(squareform(distance, checks=False), method="complete")
    found = fcluster(tree, SPLIT, criterion="distance")
    order = {label: i for i, label in enumerate(dict.fromkeys(found.tolist()))}
    return np.array([order[label] for label in found.tolist()], dtype=np.intp)
