"""kitvalue: what a used drum kit is worth, what a rebuild costs landed, and where the two break even.

For notebooks: `read_prices` and `fit_prices`, with results named after statsmodels'.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kitvalue.market.results import fit_prices, read_prices

__version__ = "0.1.0"
__all__ = ["__version__", "fit_prices", "read_prices"]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - pandas and statsmodels load only when they are asked for
    if name in ("fit_prices", "read_prices"):
        from kitvalue.market import results

        return getattr(results, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
