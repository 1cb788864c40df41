"""The fit for notebooks: pandas objects under the names of statsmodels' results.

The figures are the command line's own: both come from one Fit.

>>> import pandas as pd
>>> from kitvalue import fit_prices, read_prices
>>> results = fit_prices(read_prices("sample_data"))
>>> results.params.round(3)[["log_pieces", "condition", "sold"]].to_dict()
{'log_pieces': 0.573, 'condition': 0.125, 'sold': -0.064}
>>> kits = pd.DataFrame({"series": ["Burren"], "pieces": [5], "condition": [3], "hardware": [True]})
>>> results.get_prediction(kits).summary_frame(alpha=0.2).round(0)
    mean  mean_se  mean_ci_lower  mean_ci_upper  obs_ci_lower  obs_ci_upper
0  434.0     22.0          406.0          463.0         330.0         568.0
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import cast, get_args

import numpy as np
import pandas as pd
from scipy.special import stdtrit
from statsmodels.iolib.summary2 import Summary

from kitvalue.intake.books.book import PriceBook
from kitvalue.intake.books.pricebook import read_pricebook
from kitvalue.intake.settings.shop import Shop, read_shop
from kitvalue.intake.text.problems import FileError, Level, shown
from kitvalue.market.encoding import Channel, FeatureValue, Kit
from kitvalue.market.fit import fit_book
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import outlook


@dataclass(frozen=True, slots=True, eq=False)
class Prices:
    """A shop's price book with the settings it was read by."""

    book: PriceBook
    shop: Shop


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """Kits asked about, valued on request."""

    fit: Fit
    kits: tuple[Kit, ...]
    index: pd.Index

    def summary_frame(self, alpha: float = 0.2) -> pd.DataFrame:
        """A row a kit, in money: `mean` is the typical price (the median), `mean_ci_*` hold the market's level and
        `obs_ci_*` one sale, each with probability 1 - alpha in whole percent."""
        percent = round(100 * (1 - alpha))
        rows = []
        for kit in self.kits:
            view = outlook(self.fit, kit, percent)
            ci = (view.level_low, view.level_high, view.low, view.high)
            low, high, obs_low, obs_high = (np.nan if x is None else x for x in ci)
            se = view.typical * np.log(high / view.typical) / self.fit.level_t[percent - 1]
            rows.append((view.typical, se, low, high, obs_low, obs_high))
        names = ["mean", "mean_se", "mean_ci_lower", "mean_ci_upper", "obs_ci_lower", "obs_ci_upper"]
        return pd.DataFrame(rows, index=self.index, columns=names)


@dataclass(frozen=True, slots=True, eq=False)
class PriceResults:
    """A fitted price book. Series and rows are labelled; prices are on the log scale unless a name says otherwise."""

    fit: Fit

    @property
    def params(self) -> pd.Series:
        """(p,) coefficients of the fixed terms."""
        return pd.Series({t.name: t.coefficient for t in self.fit.terms}, name="coefficient")

    @property
    def bse(self) -> pd.Series:
        """(p,) their standard errors, the mixed model's where series are pooled."""
        return pd.Series({t.name: t.se for t in self.fit.terms}, name="se")

    @property
    def nobs(self) -> int:
        """Rows used."""
        return self.fit.rows_used

    @property
    def resid(self) -> pd.Series:
        """(n,) log price less fitted, by the spreadsheet's row number."""
        return pd.Series(self.fit.residuals, index=pd.Index(self.fit.book.rows, name="row"), name="resid")

    @property
    def fittedvalues(self) -> pd.Series:
        """(n,) fitted log price, the haggle's offset not in it."""
        return pd.Series(
            self.fit.columns_of(self.fit.rows) @ self.fit.coef, index=self.resid.index, name="fittedvalues"
        )

    def robust_bse(self) -> pd.Series:
        """(p,) standard errors that do not assume equal scatter: HC3 (MacKinnon and White 1985), theta held fixed.

        On a plain fit without pooling they are statsmodels' HC3; weights count as in weighted least squares.
        """
        fit = self.fit
        C = fit.columns_of(fit.rows)
        p = len(fit.recipe.names)
        half = fit.scaling.back() @ fit.root[:p] @ ((C @ fit.root) * (fit.weights * fit.left_out_residuals)[:, None]).T
        return pd.Series(np.sqrt((half**2).sum(axis=1)), index=list(fit.recipe.names), name="robust_bse")

    def conf_int(self, alpha: float = 0.05) -> pd.DataFrame:
        """(p, 2) ranges of the coefficients, columns 0 and 1 as in statsmodels."""
        reach = self.fit.allowance * float(stdtrit(self.fit.df, 1 - alpha / 2)) * self.bse
        return pd.DataFrame({0: self.params - reach, 1: self.params + reach})

    def get_prediction(self, frame: pd.DataFrame) -> Prediction:
        """Value the kits of a frame: columns series, pieces, condition, and where wanted price_kind (asked or sold,
        sold where absent), channel, date and the declared features. Other columns, such as price, are left alone, as
        statsmodels leaves them. Raises FileError where one that is needed is missing.
        """
        lacking = [name for name in ("series", "pieces", "condition") if name not in frame.columns]
        if lacking:
            raise FileError(f"no such column: {', '.join(lacking)}")
        return Prediction(self.fit, tuple(self._kit(row) for row in frame.to_dict("records")), frame.index)

    def _kit(self, row: dict[object, object]) -> Kit:
        given = {str(k): v for k, v in row.items() if not pd.isna(v)}  # type: ignore[call-overload]
        day, channel = given.get("date"), given.get("channel", "private")
        if channel not in get_args(Channel):
            raise FileError(f"no such channel: {shown(str(channel))}; write private, dealer or auction")
        told = {f.name: given[f.name] for f in self.fit.recipe.features if f.name in given}
        numeric = int | float | np.number | np.bool_
        return Kit(
            series=str(given["series"]),
            pieces=float(str(given["pieces"])),
            condition=float(str(given["condition"])),
            price_kind="asked" if given.get("price_kind") == "asked" else "sold",
            channel=cast(Channel, channel),
            on=None if day is None else pd.Timestamp(str(day)).date(),
            features=tuple(FeatureValue(k, float(v) if isinstance(v, numeric) else str(v)) for k, v in told.items()),
        )

    def summary(self) -> Summary:
        """statsmodels' own text table of the coefficients, with what else the fit knows of itself."""
        fit, summary = self.fit, Summary()
        frame = pd.concat([self.params, self.bse, self.conf_int()], axis=1)
        frame.columns = pd.Index(["Coef.", "Std.Err.", "[0.025", "0.975]"])
        summary.add_dict({
            "Model:": "log price, pooled series" if fit.recipe.pooled else "log price",
            "Weights:": "Huber, k = 1.345" if fit.robust else "none",
            "No. Observations:": str(fit.rows_used),
            "Df (n - tr H):": f"{fit.df:.1f}",
            "sigma2:": f"{fit.sigma2:.5f}",
            "tau2 (series):": f"{fit.tau2:.5f}",
        })  # fmt: skip
        summary.add_df(frame, float_format="%.4f")
        summary.add_title("Hedonic price regression")
        return summary


def read_prices(folder: str | Path, today: date) -> Prices:
    """Read shop.toml and prices.csv of a shop folder, no day after `today`. Raises FileError where it cannot."""
    place = Path(folder)
    shop = read_shop(place)
    reading = read_pricebook(place / "prices.csv", shop, today)
    if reading.book is None:
        bad = [p for p in reading.problems if p.level is Level.FILE]
        raise FileError(bad[0].line() if bad else "prices.csv has no usable row", reading.problems)
    return Prices(reading.book, shop)


def fit_prices(prices: Prices, *, robust: bool = True, pooled: bool = True) -> PriceResults:
    """Fit a price book as `kitvalue fit` does, without its accuracy tests."""
    haggle = prices.shop.prices.haggle
    return PriceResults(fit_book(prices.book, None if haggle is None else float(haggle), robust=robust, pooled=pooled))
