"""A length for the metal: hardening that resists strain which stands out from its surroundings.

Metal that is unbent under tension softens in bending, and a shell, which has no length of its
own, then kinks within one element: thinning and reversal pressure depend on the mesh.  Sheet
cannot do so, since its strain cannot change within less than about its gauge.  So the yield
stress of a layer is raised by G (ep - mean of ep along the meridian over about the gauge), which
is gradient plasticity, - c d2(ep)/ds2, in its averaging form (Aifantis, J. Eng. Mater. Technol.
106:326-330, 1984; Bazant & Jirasek, J. Eng. Mech. 128:1119-1149, 2002; values from memory).  Where
strain varies evenly along the meridian it does nothing.  It lags by one step.

G = 1000 MPa and a standard deviation of half the gauge.  Measured on the ready tooling with
elements of 0.1 to 0.3 mm: thinning over 1 mm from 6.5 to 6.7 %, largest plastic strain about 0.4,
reversal pressure of the formed bottom the same within 0.2 %.  Without it: 6.3 to 6.8 %, 0.5 to
0.9, and 4 %; and one step may fold an element.  The solid has 0.3 for the largest strain.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.compiled import kernel
from fea.materials import ELASTIC, EP, LAW, yield_curve
from fea.shell import Shell

Floats = NDArray[np.float64]

MODULUS = 1000.0  # MPa
REACH = 0.5  # standard deviation over the gauge
_LEAST = 0.5  # of the yield stress that is left where the surroundings have strained more


def spread(shell: Shell, length: float) -> Floats:
    """(n_points, n_points) running means along the meridian with a bell of standard deviation
    `length` (mm), weighted by arc length; rows add up to 1."""
    away = (shell.point_s[:, None] - shell.point_s[None, :]) / length
    bell = np.exp(-0.5 * away**2) * shell.weights.ravel()[None, :]
    return np.asarray(bell / bell.sum(axis=1, keepdims=True))


def raised(shell: Shell, means: Floats, layers: Floats, modulus: float = MODULUS) -> Floats:
    """(n_layers,) factor on the yield curve of every layer, on top of the shell's own.

    means : of `spread`.  layers : (n_layers, 7) material state; every point has as many layers.
    """
    if shell.material[LAW] == ELASTIC:
        return shell.layer_factor
    strain = layers[:, EP].reshape(means.shape[0], -1)
    more = modulus * (strain - means @ strain).ravel()
    return _factors(shell.material, shell.layer_factor, layers[:, EP], more)


@kernel
def _factors(material: Floats, own: Floats, strain: Floats, more: Floats) -> Floats:
    out = np.empty(strain.size)
    for i in range(strain.size):
        stress, _ = yield_curve(material, strain[i])
        out[i] = own[i] * max(_LEAST, 1.0 + more[i] / (own[i] * stress))
    return out
