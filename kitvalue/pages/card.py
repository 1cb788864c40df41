"""The pocket card: one HTML page that values kits on a phone without a network. The fit rides inside it.

Its own small script does the arithmetic of `value`, to the cent; a Content-Security-Policy lets nothing else run and
nothing be fetched. Without a script it says so.
"""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
from markupsafe import Markup

from kitvalue.decisions.offered import DonorCeiling
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.text.problems import Caution, texts
from kitvalue.intake.text.vocabulary import GRADES
from kitvalue.market import pocket
from kitvalue.market.encoding import Term
from kitvalue.market.fitted import Fit
from kitvalue.market.pocket import pocket_cautions, pocket_fit
from kitvalue.pages.words import cents, day, digest, exact, plain, templates

STALE_DAYS = 90
CODES = "".join(chr(c) for c in range(35, 127) if chr(c) not in "\\<&'`")  # one sign a value; safe inside a page
BENCH = {
    "wipe": "clean and tune", "freshen": "new heads, polish", "mend": "one or two faults to mend",
    "remake": "finish or several edges", "harvest": "good for its parts",
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class CardInput:
    """Everything that the card shows. `ceilings` belong to the plan called `plan`, and are empty without one."""

    shop_name: str
    currency: str
    today: date
    fit: Fit
    cautions: tuple[Caution, ...]
    plan: str = ""
    ceilings: tuple[DonorCeiling, ...] = ()

    @property
    def title(self) -> str:
        """The page's title."""
        return f"{self.shop_name}: pocket card, {day(self.today)}"


def render_card(given: CardInput) -> str:
    """The whole page. Equal input gives equal text. Raises RefusedError where the book cannot value a sale."""
    pages, fit = templates(), given.fit
    css, script = pages.get_template("card.css").render(), pages.get_template("card.js").render()
    names, rows, newest = fit.recipe.series, fit.recipe.rows_by_series, fit.recipe.reference_date
    most = int(np.argmax(rows))
    words = {float(grade): f"{float(grade):g}  {word}: {BENCH[word]}" for word, grade in GRADES.items()}
    return pages.get_template("card.html").render(
        page=given,
        made=day(given.today),
        newest="" if newest is None else day(newest),
        series=sorted(enumerate(names), key=lambda one: (one[0] != most, one[1].casefold())),
        start_pieces=min(max(round(float(np.median(fit.book.pieces))), 1), pocket.MOST_PIECES),
        most_pieces=pocket.MOST_PIECES,
        grades=[(f"{g:g}", words.get(g, f"{g:g}")) for g in reversed(pocket.GRADES)],
        ceilings=[(c.donor, _note(c), _told(c.ceiling), _told(c.safe_ceiling)) for c in given.ceilings],
        css=Markup(css),  # noqa: S704 - our own template
        css_hash=digest(css),
        script=Markup(script),  # noqa: S704 - our own template
        script_hash=digest(script),
        data=Markup(in_page(card_data(given))),  # noqa: S704 - in_page leaves nothing that ends the element
    )


def _told(price: float | None) -> str:
    return "none" if price is None else cents(Decimal(repr(price)))


def _note(donor: DonorCeiling) -> str:
    """What a donor's ceilings are for, or why there is none."""
    if donor.reason is not None:
        return donor.reason
    sizes = ", ".join(donor.sizes)
    if donor.ceiling is None:
        return f"with its {sizes}: even as a gift it would not leave your margin"
    on_top = "freight comes off" if donor.freight is None else f"freight of {exact(donor.freight)} on top"
    return f"with its {sizes}; {on_top}"


def in_page(data: dict[str, Any]) -> str:
    """JSON that may stand inside a page: no sign of it can end the element that holds it."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def card_data(given: CardInput) -> dict[str, Any]:
    """What the script reckons with; triangles of symmetric matrices row by row."""
    fit, small, said = given.fit, pocket_fit(given.fit), pocket_cautions(given.fit)
    names = [f.name for f in fit.recipe.features]

    def level(t: Term) -> int:
        """The index of an indicator's series or word, -1 for a plain number."""
        levels = fit.recipe.series if t.source == "series" else fit.recipe.features[names.index(t.feature)].words
        return levels.index(t.level)

    return {
        "made": given.today.isoformat(),
        "stale": STALE_DAYS,
        "exact": fit.exact,
        "offset": fit.recipe.sold_offset or 0.0,
        "dealer": fit.recipe.has("dealer"),
        "features": [{"name": f.name, "kind": f.kind, "words": f.words} for f in fit.recipe.features],
        "terms": [
            {
                "source": t.source, "blank": t.blank,
                "feature": names.index(t.feature) if t.feature else -1,
                "level": level(t) if t.level else -1,
                "rows": None if raw is None else packed_column(raw),
            }
            for t, raw in zip(small.terms, small.raw, strict=True)
        ],
        "center": small.center.tolist(), "scale": small.scale.tolist(), "series": small.series.tolist(),
        "weights": packed_column(small.weights), "residuals": packed_column(small.residuals),
        "coef": packed(small.coef), "inverse": packed(small.inverse[np.tril_indices(len(small.inverse))]),
        "level": packed(small.level_inverse[np.tril_indices(len(small.level_inverse))]),
        "theta": small.root_theta, "typical_g": small.typical_g, "reach": small.level_reach,
        "cut": small.cut, "gross": small.gross, "low_at": small.low_at, "high_at": small.high_at,
        "cautions": {
            "always": list(dict.fromkeys(map(plain, (*texts(given.cautions), *said.always)))),
            "series": [list(map(plain, told)) for told in said.by_series],
            "pieces": said.by_pieces,
            "grade": said.by_grade,
            "given": [
                {"name": g.name, "value": g.value, "drop": list(map(plain, g.drop)), "add": list(map(plain, g.add))}
                for g in said.given
            ],
        },
    }  # fmt: skip


def packed(values: FloatArray) -> str:
    """Little-endian doubles in base64: exact, and shorter than their digits."""
    return base64.b64encode(np.ascontiguousarray(values, dtype="<f8").tobytes()).decode()


def packed_column(values: FloatArray) -> dict[str, Any]:
    """A column with few different values as those values and one sign a row, else as doubles."""
    different, place = np.unique(values, return_inverse=True)
    if len(different) <= len(CODES):
        return {"values": different.tolist(), "codes": "".join(CODES[i] for i in place)}
    return {"doubles": packed(values)}
