"""Which kits the best set of offers is drawn from."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from kitvalue import portfolios
from kitvalue.intake.book import FloatArray
from kitvalue.market.fitted import Fit
from kitvalue.market.kit import Kit
from kitvalue.market.many import shared_draws


def kits_drawn(monkeypatch: pytest.MonkeyPatch) -> list[Kit]:
    """The kits, filled in while the portfolio is drawn."""
    drawn: list[Kit] = []

    def noted(fit: Fit, kits: Sequence[Kit], draws: int) -> FloatArray:
        drawn.extend(kits)
        return shared_draws(fit, kits, draws)

    monkeypatch.setattr(portfolios, "shared_draws", noted)
    return drawn
