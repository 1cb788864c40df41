"""kitvalue: what a used drum kit is worth, what a rebuild costs landed, and where the two break even.

For notebooks: `read_prices` and `fit_prices`, with results named after statsmodels'.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kitvalue.market.results import Prices, fit_prices

__version__ = "0.1.0"
__all__ = ["__version__", "fit_prices", "read_prices"]


def read_prices(folder: str | Path) -> Prices:
    """Read shop.toml and prices.csv of a shop folder, as of today. Raises FileError where they cannot be used."""
    from kitvalue.market import results

    return results.read_prices(folder, date.today())


def __getattr__(name: str) -> Any:  # noqa: ANN401 - pandas and statsmodels load only when they are asked for
    if name == "fit_prices":
        from kitvalue.market import results

        return results.fit_prices
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
