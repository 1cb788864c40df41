"""What a rebuild fetches: the share of an original's price that the plan says, and the doubt about it."""

from __future__ import annotations

from functools import cache
from math import log, sqrt
from statistics import NormalDist
from typing import Final

import numpy as np

from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.settings.plancells import Share
from kitvalue.market.outlook import KitSamples, normal_scores

OUTCOMES: Final = 4000  # at least so many where the share is in doubt
GOLDEN: Final = (sqrt(5) - 1) / 2
EIGHT_IN_TEN: Final = NormalDist().inv_cdf(0.9)


@cache
def _scores() -> FloatArray:
    """(OUTCOMES,) quantiles of the standard normal, rising."""
    return np.sort(normal_scores(OUTCOMES))


def fetched(sample: FloatArray, share: Share) -> FloatArray:
    """(..., N) what rebuilds fetch where originals fetch `sample` (..., n), equally likely both.

    A share in doubt is log-normal with its two numbers as 10 and 90 % quantiles, independent of the market. The
    sample, sorted and repeated, is paired with its quantiles at multiples of the golden ratio, which fill the square of
    both evenly (a lattice rule: Niederreiter 1992, Random Number Generation and Quasi-Monte Carlo Methods, from
    memory); no random draw is taken.
    """
    if share.low == share.high:
        return sample * _factors(share, np.zeros(1))
    rows = np.repeat(np.sort(sample, axis=-1), -(-OUTCOMES // sample.shape[-1]), axis=-1)
    at = (np.arange(rows.shape[-1]) + 0.5) * GOLDEN % 1
    return rows * _factors(share, _scores()[(at * OUTCOMES).astype(np.int64)])


def _factors(share: Share, scores: FloatArray) -> FloatArray:
    spread = log(share.high / share.low) / (2 * EIGHT_IN_TEN)
    return np.asarray(float(share.middle) / 100 * np.exp(spread * scores))


def rebuilt(originals: KitSamples, share: Share) -> KitSamples:
    """The samples of originals as those of rebuilds."""
    typical = originals.typical * _factors(share, np.zeros(1))
    return KitSamples(typical, fetched(originals.sample, share), fetched(originals.clipped, share))
