"""The pocket card: one HTML page that values kits on a phone without a network. The fit rides inside it.

Its own small script does the arithmetic of `value`, to the cent; a Content-Security-Policy lets nothing else run and
nothing be fetched. Without a script it says so.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
from markupsafe import Markup

from kitvalue.decisions.offered import DonorCeiling
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.text.vocabulary import GRADES
from kitvalue.market import pocket
from kitvalue.market.fitted import Fit
from kitvalue.market.pocket import PocketCautions, PocketFit, pocket_cautions, pocket_fit
from kitvalue.pages.words import cents, day, digest, exact, plain, templates

STALE_DAYS = 90
CODES = "".join(chr(c) for c in range(35, 127) if chr(c) not in "\\<&'`")  # one sign a value; safe inside a page
BENCH = {
    "wipe": "clean and tune", "freshen": "new heads, polish", "mend": "one or two faults to mend",
    "remake": "finish or several edges", "harvest": "good for its parts",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class CeilingSeen:
    """Up to what a donor may cost for one use, ready texts; `note` says what the figures are for, or why none is."""

    use: str
    ceiling: str
    safe_ceiling: str
    note: str


@dataclass(frozen=True, slots=True, eq=False)
class CardInput:
    """Everything that the card shows. `ceilings` belong to the plan called `plan`, and are empty without one."""

    shop_name: str
    currency: str
    today: date
    fit: Fit
    cautions: tuple[str, ...]
    plan: str = ""
    ceilings: tuple[DonorCeiling, ...] = ()


@dataclass(frozen=True, slots=True)
class Choice:
    """One entry of a list: what is sent to the script and what is read."""

    value: str
    text: str


@dataclass(frozen=True, slots=True)
class FeatureAsked:
    """One feature's question. `id` is its own in the page; `choices` are empty for a number."""

    id: str
    name: str
    kind: str
    choices: tuple[Choice, ...]


@dataclass(frozen=True, slots=True)
class CardView:
    """The card's fixed texts and its questions."""

    title: str
    shop_name: str
    made: str
    newest: str
    currency: str
    rows: int
    exact: bool
    series: tuple[Choice, ...]
    start_pieces: int
    most_pieces: int
    grades: tuple[Choice, ...]
    start_grade: str
    features: tuple[FeatureAsked, ...]
    plan: str
    ceilings: tuple[CeilingSeen, ...]


def render_card(given: CardInput) -> str:
    """The whole page. Equal input gives equal text. Raises RefusedError where the book cannot value a sale."""
    pages = templates()
    css, script = pages.get_template("card.css").render(), pages.get_template("card.js").render()
    return pages.get_template("card.html").render(
        page=card_view(given),
        css=Markup(css),  # noqa: S704 - our own template
        css_hash=digest(css),
        script=Markup(script),  # noqa: S704 - our own template
        script_hash=digest(script),
        data=Markup(in_page(card_data(given))),  # noqa: S704 - in_page leaves nothing that ends the element
    )


def in_page(data: dict[str, Any]) -> str:
    """JSON that may stand inside a page: no sign of it can end the element that holds it."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def card_view(given: CardInput) -> CardView:
    """The fixed texts and the questions."""
    fit = given.fit
    newest = fit.recipe.reference_date
    most = int(np.argmax(fit.recipe.rows_by_series))
    order = sorted(range(len(fit.recipe.series)), key=lambda i: fit.recipe.series[i].casefold())
    pieces = round(float(np.median(fit.book.pieces)))
    return CardView(
        title=f"{given.shop_name}: pocket card, {day(given.today)}",
        shop_name=given.shop_name,
        made=day(given.today),
        newest="" if newest is None else day(newest),
        currency=given.currency,
        rows=fit.rows_used,
        exact=fit.exact,
        series=tuple(
            Choice(str(i), fit.recipe.series[i]) for i in sorted(order, key=lambda i: i != most)
        ),
        start_pieces=min(max(pieces, 1), pocket.MOST_PIECES),
        most_pieces=pocket.MOST_PIECES,
        grades=tuple(Choice(f"{g:g}", _grade_words(g)) for g in reversed(pocket.GRADES)),
        start_grade="3",
        features=tuple(_asked(i, f.name, f.kind, f.words) for i, f in enumerate(fit.recipe.features)),
        plan=given.plan,
        ceilings=tuple(map(_ceiling, given.ceilings)),
    )  # fmt: skip


def _ceiling(donor: DonorCeiling) -> CeilingSeen:
    sizes = ", ".join(donor.sizes)
    on_top = "freight comes off" if donor.freight is None else f"freight of {exact(donor.freight)} on top"
    if donor.reason is not None:
        note = donor.reason
    elif donor.ceiling is None:
        note = f"with its {sizes}: even as a gift it would not leave your margin"
    else:
        note = f"with its {sizes}; {on_top}"
    most, safe = ("none" if p is None else cents(Decimal(repr(p))) for p in (donor.ceiling, donor.safe_ceiling))
    return CeilingSeen(f"Donor {donor.donor}", most, safe, note)


def _grade_words(grade: float) -> str:
    word = next((w for w, value in GRADES.items() if float(value) == grade), None)
    return f"{grade:g}" if word is None else f"{grade:g}  {word}: {BENCH[word]}"


def _asked(place: int, name: str, kind: str, words: Sequence[str]) -> FeatureAsked:
    if kind == "yes-no":
        choices: tuple[Choice, ...] = (Choice("1", "yes"), Choice("0", "no"))
    else:
        choices = tuple(Choice(str(i), word) for i, word in enumerate(words)) if kind == "word" else ()
    return FeatureAsked(f"feature-{place}", name, kind, choices)


def card_data(given: CardInput) -> dict[str, Any]:
    """What the script reckons with."""
    fit = given.fit
    small, said = pocket_fit(fit), pocket_cautions(fit)
    names = [f.name for f in fit.recipe.features]
    return {
        "made": given.today.isoformat(),
        "stale": STALE_DAYS,
        "exact": fit.exact,
        "offset": fit.recipe.sold_offset or 0.0,
        "dealer": fit.recipe.has("dealer"),
        "features": [{"name": f.name, "kind": f.kind, "words": list(f.words)} for f in fit.recipe.features],
        "terms": [
            {
                "source": t.source, "blank": t.blank,
                "feature": names.index(t.feature) if t.feature else -1,
                "level": _level(fit, t.source, t.feature, t.level),
                "rows": None if raw is None else packed_column(raw),
            }
            for t, raw in zip(small.terms, small.raw, strict=True)
        ],
        **_arrays(small),
        "cautions": _said(said, given.cautions),
    }  # fmt: skip


def _level(fit: Fit, source: str, feature: str, level: str) -> int:
    """The index of an indicator's series or word, -1 for a plain number."""
    if not level:
        return -1
    if source == "series":
        return fit.recipe.series.index(level)
    return next(f for f in fit.recipe.features if f.name == feature).words.index(level)


def _arrays(small: PocketFit) -> dict[str, Any]:
    return {
        "center": small.center.tolist(), "scale": small.scale.tolist(), "series": small.series.tolist(),
        "weights": packed_column(small.weights), "residuals": packed_column(small.residuals),
        "coef": packed(small.coef), "inverse": packed(_lower(small.inverse)),
        "level": packed(_lower(small.level_inverse)), "theta": small.root_theta, "typical_g": small.typical_g,
        "reach": small.level_reach, "cut": small.cut, "gross": small.gross,
        "low_at": small.low_at, "high_at": small.high_at,
    }  # fmt: skip


def _said(said: PocketCautions, shop: Sequence[str]) -> dict[str, Any]:
    return {
        "always": list(dict.fromkeys(plain(text) for text in (*shop, *said.always))),
        "series": [[plain(t) for t in texts] for texts in said.by_series],
        "pieces": [list(texts) for texts in said.by_pieces],
        "grade": [list(texts) for texts in said.by_grade],
        "given": [
            {"name": g.name, "value": g.value, "drop": [plain(t) for t in g.drop], "add": [plain(t) for t in g.add]}
            for g in said.given
        ],
    }


def _lower(matrix: FloatArray) -> FloatArray:
    """The lower triangle of a symmetric matrix, row by row."""
    return matrix[np.tril_indices(len(matrix))]


def packed(values: FloatArray) -> str:
    """Little-endian doubles in base64: exact, and shorter than their digits."""
    return base64.b64encode(np.ascontiguousarray(values, dtype="<f8").tobytes()).decode()


def packed_column(values: FloatArray) -> dict[str, Any]:
    """A column with few different values as those values and one sign a row, else as doubles."""
    different, place = np.unique(values, return_inverse=True)
    if len(different) <= len(CODES):
        return {"values": different.tolist(), "codes": "".join(CODES[i] for i in place)}
    return {"doubles": packed(values)}
