"""`fit`: the price book fitted anew, and the fit saved."""

from __future__ import annotations

from kitvalue.commands.folder import ShopFolder, ShopMarket, fresh_market


def fit(folder: ShopFolder, *, robust: bool, pooled: bool) -> ShopMarket:
    """Fit the price book and save the fit in out/fit.json."""
    _ = folder.shop  # what is wrong with the settings is said before anything is written
    folder.ready()
    market = fresh_market(folder, robust=robust, pooled=pooled)
    folder.save(market)
    return market
