"""The pocket card: one HTML page that values kits on a phone without a network. The fit rides inside it.

Its own small script does the arithmetic of `value` and of `value --asked`, to the cent; a Content-Security-Policy lets
nothing else run and nothing be fetched. Without a script it says so. Left-out predictions need of each row only its
columns, its weight and its left-out residual: with u = A^-1 x, leaving row i out moves the prediction at x by
-w_i (c_i' u) r_i (see `outlook`). So k x k matrices and n rows ride along, not n x k products.
"""

from __future__ import annotations

import base64
import json
from dataclasses import asdict, dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
from markupsafe import Markup

from kitvalue.decisions.asked import SoldOn
from kitvalue.decisions.offered import DonorCeiling
from kitvalue.decisions.original import as_money
from kitvalue.decisions.shortlist import FEW_SEEN
from kitvalue.decisions.verdict import bid_of
from kitvalue.intake.books.book import FloatArray
from kitvalue.intake.text.problems import Caution, texts
from kitvalue.intake.text.vocabulary import GRADES
from kitvalue.market.blocks import Block
from kitvalue.market.encoding import FeatureValue, Kit, Term, term_values
from kitvalue.market.fitted import GROSS, Fit
from kitvalue.market.outlook import CLIP, outlooks, places, sample_of, value_kit
from kitvalue.pages.figures import day, exact
from kitvalue.pages.templating import TEMPLATES, digest, styled_page
from kitvalue.pages.words import plain

STALE_DAYS = 90
RANGE_PERCENT = 80
MOST_PIECES = 20
HALF_GRADES = tuple(g / 2 for g in range(2, 11))
CODES = "".join(chr(c) for c in range(35, 127) if chr(c) not in "\\<&'`")  # one sign a value; safe inside a page
BENCH = {
    "wipe": "clean and tune", "freshen": "new heads, polish", "mend": "one or two faults to mend",
    "remake": "finish or several edges", "harvest": "good for its parts",
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class CardInput:
    """Everything that the card shows. `ceilings` belong to the plan called `plan`, and are empty without one; `sold_on`
    is what a kit asked about is judged with, or why none is."""

    shop_name: str
    currency: str
    today: date
    fit: Fit
    cautions: tuple[Caution, ...]
    sold_on: SoldOn | str
    plan: str = ""
    ceilings: tuple[DonorCeiling, ...] = ()


def render_card(given: CardInput) -> str:
    """The whole page. Equal input gives equal text. Raises RefusedError where the book cannot value a sale."""
    fit, script = given.fit, TEMPLATES.get_template("card.js").render()
    names, rows, newest = fit.recipe.series, fit.recipe.rows_by_series, fit.recipe.reference_date
    most = int(np.argmax(rows))
    step = Decimal(1) if isinstance(given.sold_on, str) else as_money(given.sold_on.bid_step)
    words = {float(grade): f"{float(grade):g}  {word}: {BENCH[word]}" for word, grade in GRADES.items()}
    return styled_page(
        "card.html",
        "card.css",
        page=given,
        title=f"{given.shop_name}: pocket card, {day(given.today)}",
        made=day(given.today),
        newest="" if newest is None else day(newest),
        series=sorted(enumerate(names), key=lambda one: (one[0] != most, one[1].casefold())),
        start_pieces=min(max(round(float(np.median(fit.book.pieces))), 1), MOST_PIECES),
        most_pieces=MOST_PIECES,
        grades=[(f"{g:g}", words.get(g, f"{g:g}")) for g in reversed(HALF_GRADES)],
        ceilings=[
            (c.donor, _note(c), "none" if (bid := bid_of(c.safe_ceiling, step)) is None else exact(bid))
            for c in given.ceilings
        ],
        script=Markup(script),  # noqa: S704 - our own template
        script_hash=digest(script),
        data=Markup(in_page(card_data(given))),  # noqa: S704 - in_page leaves nothing that ends the element
    )


def _note(donor: DonorCeiling) -> str:
    """What a donor's price to stop at is for, or why there is none."""
    if donor.reason is not None:
        return donor.reason
    sizes = ", ".join(donor.sizes)
    if donor.ceiling is None:
        return f"with its {sizes}: even as a gift it would not leave your margin"
    if donor.safe_ceiling is None:
        return f"with its {sizes}: even as a gift it would lose too often"
    on_top = "freight comes off" if donor.freight is None else f"freight of {exact(donor.freight)} on top"
    return f"with its {sizes}; {on_top}"


def in_page(data: dict[str, Any]) -> str:
    """JSON that may stand inside a page: no sign of it can end the element that holds it."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def card_data(given: CardInput) -> dict[str, Any]:
    """What the script reckons with; triangles of symmetric matrices row by row.

    A term's `rows` are the sample's values before standardising, None for a series indicator.
    """
    fit, recipe, rows = given.fit, given.fit.recipe, given.fit.rows
    names = [f.name for f in recipe.features]
    low_at, high_at = places(len(rows), RANGE_PERCENT)  # which order statistics hold the range, counted from 1

    def level(t: Term) -> int:
        """The index of an indicator's series or word, -1 for a plain number."""
        levels = recipe.series if t.source == "series" else recipe.features[names.index(t.feature)].words
        return levels.index(t.level)

    return {
        "made": given.today.isoformat(),
        "stale": STALE_DAYS,
        "exact": fit.exact,
        "offset": recipe.sold_offset or 0.0,
        "dealer": recipe.has("dealer"),
        "features": [{"name": f.name, "kind": f.kind, "words": f.words} for f in recipe.features],
        "terms": [
            {
                "source": t.source, "blank": t.blank,
                "feature": names.index(t.feature) if t.feature else -1,
                "level": level(t) if t.level else -1,
                "rows": None if t.source == "series" else packed_column(term_values(t, rows, recipe.series)),
            }
            for t in recipe.terms
        ],
        "center": fit.scaling.center.tolist(), "scale": fit.scaling.scale.tolist(), "series": fit.book.series.tolist(),
        "weights": packed_column(fit.weights), "residuals": packed_column(fit.left_out_residuals),
        "coef": packed(fit.coef), "inverse": packed_product(fit.root), "level": packed_product(fit.level_root),
        "theta": float(np.sqrt(fit.theta)) if recipe.pooled else None,
        "ratios": fit.ratios.tolist(), "allowance": fit.allowance,
        "blocks": [_block(fit, block) for block in fit.blocks],
        "typical_g": sample_of(fit).typical_g,
        "reach": fit.level_t[RANGE_PERCENT - 1] * float(np.sqrt(fit.sigma2)),
        "cut": CLIP * fit.scatter, "gross": GROSS * fit.scatter, "low_at": low_at, "high_at": high_at,
        "cautions": card_cautions(fit, texts(given.cautions)), "currency": given.currency,
        "seen": recipe.rows_by_series, "few": FEW_SEEN,
        "sold_on": {"reason": given.sold_on} if isinstance(given.sold_on, str) else asdict(given.sold_on),
    }  # fmt: skip


def _block(fit: Fit, block: Block) -> dict[str, Any]:
    """A block's lines: of the rows, and `at` each grade from 1 to 5 in halves or, those of time, the newest date."""
    of_grade = block.group == "condition"
    at, rows = block.bases_at(np.array(HALF_GRADES if of_grade else [0.0])).T, block.bases(fit.rows).T
    return {
        "theta": float(np.sqrt(block.theta)), "by_series": block.by_series,
        "lines": [{"at": a.tolist(), "rows": packed_column(r)} for a, r in zip(at, rows, strict=True)],
    }  # fmt: skip


def card_cautions(fit: Fit, beside: tuple[str, ...]) -> dict[str, Any]:
    """The cautions of any kit, found by asking the program for one of every sort: those that always hold (`beside`
    among them), those of a series, of 1 to 20 pieces, of a grade (1 to 5 in halves), and what giving a feature drops
    and adds (its `value` is the word, or "" for any other kind). Raises RefusedError where a sale cannot be valued."""
    names, counts = fit.recipe.series, fit.recipe.rows_by_series
    base = Kit(names[counts.index(max(counts))], fit.recipe.pieces_seen[0], fit.recipe.conditions_seen[0])

    def said_of(kits: list[Kit]) -> list[tuple[str, ...]]:
        return [texts(view.cautions) for view in outlooks(fit, kits, RANGE_PERCENT)]

    def valued(kit: Kit) -> tuple[str, ...]:
        return texts(value_kit(fit, kit, None, RANGE_PERCENT).cautions)

    def beyond(told: tuple[str, ...], known: tuple[str, ...]) -> list[str]:
        return [plain(text) for text in told if text not in known]

    by_series = said_of([replace(base, series=name) for name in names])
    (own,), usual = said_of([base]), valued(base)
    shared = [text for text in by_series[0] if all(text in told for told in by_series)]
    always = tuple(text for text in usual if text in shared or text not in own)
    pieces = [replace(base, pieces=float(k)) for k in range(1, MOST_PIECES + 1)]
    grades = [replace(base, condition=g) for g in HALF_GRADES]
    given = []
    for feature in fit.recipe.features:
        for word in feature.words if feature.kind == "word" else ("",):
            value = FeatureValue(feature.name, word or (True if feature.kind == "yes-no" else 0.0))
            told = valued(replace(base, features=(value,)))
            drop, add = beyond(usual, told), beyond(told, usual)
            given.append({"name": feature.name, "value": word, "drop": drop, "add": add})
    return {
        "always": list(dict.fromkeys(map(plain, (*beside, *always)))),
        "series": [beyond(told, always) for told in by_series],
        "pieces": [beyond(told, own) for told in said_of(pieces)],
        "grade": [beyond(told, own) for told in said_of(grades)],
        "given": given,
    }


def packed_product(root: FloatArray) -> str:
    """The triangle of root @ root.T."""
    whole = root @ root.T
    return packed(whole[np.tril_indices(len(whole))])


def packed(values: FloatArray) -> str:
    """Little-endian doubles in base64: exact, and shorter than their digits."""
    return base64.b64encode(np.ascontiguousarray(values, dtype="<f8").tobytes()).decode()


def packed_column(values: FloatArray) -> dict[str, Any]:
    """A column with few different values as those values and one sign a row, else as doubles."""
    different, place = np.unique(values, return_inverse=True)
    if len(different) <= len(CODES):
        return {"values": different.tolist(), "codes": "".join(CODES[i] for i in place)}
    return {"doubles": packed(values)}
