"""Many kits at once: the same samples as one by one, and draws that share the level."""

from __future__ import annotations

from datetime import date

import numpy as np

from kitvalue.market.encoding import Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.outlook import kit_samples, outlooks, shared_draws
from tests.market.books import invented_book


def test_samples_are_those_of_the_outlooks() -> None:
    fit = fit_book(invented_book(n=80, series=5, seed=3, features=True), None)
    kits = [Kit(s, p, c, on=date(2027, 6, 1)) for s in fit.recipe.series for p in (3.0, 7.0) for c in (2.0, 4.5)]
    many = kit_samples(fit, kits)
    for i, one in enumerate(outlooks(fit, kits)):
        np.testing.assert_allclose(many.sample[i], one.sample, rtol=1e-12)
        np.testing.assert_allclose(many.typical[i], one.typical, rtol=1e-12)
        np.testing.assert_allclose(many.clipped[i].mean(), one.mean, rtol=1e-12)


def test_kits_of_a_draw_share_the_level_and_not_the_scatter() -> None:
    fit = fit_book(invented_book(n=40, series=4, seed=5), None)
    series = fit.recipe.series[0]
    near, far = shared_draws(fit, [Kit(series, 5, 3), Kit(series, 5, 3)], 4000)
    level = np.log(shared_draws(fit, [Kit(series, 5, 3)] * 200, 4000)).mean(axis=0)  # the scatter averages out
    assert not np.array_equal(near, far)
    found = np.corrcoef(np.log(near), np.log(far))[0, 1]
    expected = level.var() / np.log(near).var()  # two equal kits: the share of the variance that is the level's
    assert abs(found - expected) < 0.06
    assert found > 0.02
