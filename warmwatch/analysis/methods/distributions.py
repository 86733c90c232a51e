"""Student's t distribution, for intervals of few runs; the standard library has only the normal.

The distribution function is the regularised incomplete beta function, by its continued fraction
(Abramowitz and Stegun 26.5.8 and 26.7.1, evaluated after Lentz); the quantile inverts it by
bisection, which cannot run away.
"""

import math

_TINY = 1e-300
_CLOSE = 1e-15
_TERMS = 500


def t_cdf(t: float, df: float) -> float:
    """Return the probability of a value up to `t` for `df` degrees of freedom (real, above 0).

    >>> round(t_cdf(2.0, 10.0), 6)
    0.963306
    """
    tail = 0.5 * _beta_share(df / (df + t * t), df / 2.0, 0.5)
    return tail if t < 0.0 else 1.0 - tail


def t_quantile(p: float, df: float) -> float:
    """Return the t below which a share `p` lies; 0 < p < 1, df above 0, else ValueError.

    >>> round(t_quantile(0.975, 10.0), 6)
    2.228139
    """
    if not (0.0 < p < 1.0 and df > 0.0):
        raise ValueError(f"no quantile for p={p!r} and df={df!r}")
    if p < 0.5:
        return -t_quantile(1.0 - p, df)
    low, high = 0.0, 1.0
    while t_cdf(high, df) < p and high < 1e12:
        low, high = high, high * 2.0
    while high - low > 1e-13 * max(1.0, high):
        middle = (low + high) / 2.0
        if middle in (low, high):
            break
        if t_cdf(middle, df) < p:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def _beta_share(x: float, a: float, b: float) -> float:
    """Return the regularised incomplete beta function I_x(a, b)."""
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    front = math.exp(log_front + a * math.log(x) + b * math.log1p(-x))
    # The fraction converges fast only on this side of the mean; the other side by symmetry.
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _fraction(x, a, b) / a
    return 1.0 - front * _fraction(1.0 - x, b, a) / b


def _fraction(x: float, a: float, b: float) -> float:
    c, d = 1.0, 1.0 / _off_zero(1.0 - (a + b) * x / (a + 1.0))
    value = d
    for m in range(1, _TERMS):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 / _off_zero(1.0 + term * d)
            c = _off_zero(1.0 + term / c)
            value *= c * d
        if abs(c * d - 1.0) < _CLOSE:
            break
    return value


def _off_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY
