"""Which kits the best set of offers is drawn from."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from kitvalue.decisions import together as portfolios
from kitvalue.intake.books.book import FloatArray
from kitvalue.market.encoding import Kit
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import shared_draws


def kits_drawn(monkeypatch: pytest.MonkeyPatch) -> list[Kit]:
    """The kits, filled in while the portfolio is drawn."""
    drawn: list[Kit] = []

    def noted(fit: Fit, kits: Sequence[Kit], draws: int) -> FloatArray:
        drawn.extend(kits)
        return shared_draws(fit, kits, draws)

    monkeypatch.setattr(portfolios, "shared_draws", noted)
    return drawn
