"""How likely chance alone is to scatter points more than these."""

from math import erfc, exp, gamma, sqrt

MOST_DEGREES = 200  # beyond, the closed form runs out of a double's range


def chance_of_more(chi_squared: float, degrees_of_freedom: int) -> float:
    """Probability that chi-squared is larger than this; 1 without any degree of freedom.

    The regularised gamma function Q(dof/2, chi2/2) in its closed form for whole dof, up to
    ``MOST_DEGREES`` (Abramowitz and Stegun, 26.4.4 and 26.4.5, from memory).
    """
    if degrees_of_freedom <= 0:
        return 1.0
    half = chi_squared / 2
    is_odd = degrees_of_freedom % 2 == 1
    total = erfc(sqrt(half)) if is_odd else 0.0
    order = 0.5 if is_odd else 0.0
    term = exp(-half) * half**order / gamma(order + 1)
    for _ in range(degrees_of_freedom // 2):
        total += term
        order += 1
        term *= half / order
    return min(1.0, total)
