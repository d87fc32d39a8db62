"""Probabilities of common distributions and their inverses.

From scipy.special, imported where it is used since it takes a fifth of a second; scipy.stats, which
calls the same functions, takes half a second.
Arguments are numbers or arrays; freedom : degrees of freedom.
"""

from __future__ import annotations

from typing import Any

import numpy as np


def normal_above(z: Any) -> Any:
    """The chance that a standard normal value exceeds z."""
    from scipy import special

    return special.ndtr(np.negative(z))


def normal_limit(chance: Any) -> Any:
    """The value that a standard normal variable exceeds with this chance."""
    from scipy import special

    return -special.ndtri(chance)


def chi2_above(x: Any, freedom: Any) -> Any:
    """The chance that chi-square exceeds x."""
    from scipy import special

    return special.chdtrc(freedom, x)


def chi2_below(x: Any, freedom: Any) -> Any:
    """The chance that chi-square stays below x."""
    from scipy import special

    return special.chdtr(freedom, x)


def chi2_limit(chance: Any, freedom: Any) -> Any:
    """The value that chi-square exceeds with this chance."""
    from scipy import special

    return special.chdtri(freedom, chance)


def chi2_quantile(share: Any, freedom: Any) -> Any:
    """The value below which chi-square stays with this chance."""
    from scipy import special

    return 2.0 * special.gammaincinv(np.divide(freedom, 2.0), share)


def f_above(x: Any, first: Any, second: Any) -> Any:
    """The chance that a ratio of variances exceeds x (F); first, second : degrees of freedom."""
    from scipy import special

    # a ratio may come out just below none by rounding
    return special.fdtrc(first, second, np.maximum(x, 0.0))


def student_limit(chance: Any, freedom: Any) -> Any:
    """The value that Student's t exceeds with this chance."""
    from scipy import special

    return -special.stdtrit(freedom, chance)


def beta_quantile(share: Any, a: Any, b: Any) -> Any:
    """The value below which a beta-distributed variable stays with this chance."""
    from scipy import special

    return special.betaincinv(a, b, share)
