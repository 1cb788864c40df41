"""Whether a shop still reckons with the figures that `new` lays out, which are invented."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from importlib import resources

from kitvalue.intake.shop import Shop


def as_laid_out(shop: Shop) -> bool:
    """Do the hourly rate, the hours to prepare a kit and the margin all stand as in a new shop?"""
    text = (resources.files("kitvalue") / "starter" / "shop.toml").read_text(encoding="utf-8")
    new = tomllib.loads(text, parse_float=Decimal)
    if shop.work is None or shop.selling is None:
        return False
    ours = (shop.work.rate, shop.work.prepare, shop.selling.margin)
    return ours == (new["work"]["rate"], new["work"]["prepare"], new["selling"]["margin"])
