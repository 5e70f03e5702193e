"""Light through a scattering slab, by adding and doubling: another solution than the one in the code under test.

The slab scatters alike in all directions (similarity: real leather's forward scattering is in the reduced coefficient),
is lit from one side by diffuse light and has no reflecting faces. A layer thin enough to scatter once is doubled until
it is as thick as asked (van de Hulst 1963; Grant and Hunt 1969, Proc. R. Soc. A 313, 183), on Gauss points of the
cosine in each half space.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_THIN = 1e-4


def transmitted(optical_thickness: float, albedo: float, streams: int = 12) -> float:
    """Share of diffuse light that comes through a slab; `albedo` is scattering over extinction."""
    return float(transmitted_by_thickness(np.array([optical_thickness]), albedo, streams)[0])


def transmitted_by_thickness(optical_thicknesses: Array, albedo: float, streams: int = 12) -> Array:
    nodes, weights = np.polynomial.legendre.leggauss(streams)
    mu, w = 0.5 * (nodes + 1.0), 0.5 * weights
    flux = 2.0 * w * mu
    eye = np.eye(streams)
    out = []
    for depth in optical_thicknesses:
        doublings = max(0, int(np.ceil(np.log2(max(depth, _THIN) / _THIN))))
        thin = depth / 2**doublings
        scattered = thin * 0.5 * albedo * w[None, :] / mu[:, None]
        through = eye - thin * np.diag(1.0 / mu) + scattered
        back = scattered.copy()
        for _ in range(doublings):
            between = np.linalg.inv(eye - back @ back)
            through, back = through @ between @ through, back + through @ between @ back @ through
        out.append(float(flux @ (through @ np.ones(streams))))
    return np.array(out)
