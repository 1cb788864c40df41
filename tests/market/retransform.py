"""From the log price back to a mean price on ordinary residuals: two published factors, for checks by hand.

The outlook's own `mean` is the average of its sample in money, which needs no factor.
"""

from __future__ import annotations

import numpy as np

from kitvalue.intake.books.book import FloatArray


def smearing(residuals: FloatArray) -> float:
    """The smearing factor: the mean of exp(e) over (n,) log residuals (Duan 1983, JASA 78:605-610)."""
    return float(np.exp(residuals).mean())


def through_origin(observed: FloatArray, fitted_log: FloatArray) -> float:
    """The factor by regressing (n,) observed prices on exp(fitted log price) through the origin.

    Wooldridge, Introductory Econometrics, section 6.4.
    """
    m = np.exp(fitted_log)
    return float(m @ observed / (m @ m))
