from __future__ import annotations

from datetime import date
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.pages import figures, tables, words
from kitvalue.pages.charts import coded, decoded
from kitvalue.pages.pictures import frame as scales
from kitvalue.pages.pictures.market import Sighting, thinned


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (1240.5, 0, "1,241"), (2.5, 0, "3"), (-2.5, 0, "−3"), (-0.004, 2, "0.00"), (Decimal("1234.565"), 2, "1,234.57"),
        (0.1, 1, "0.1"), (1e9, 0, "1,000,000,000"), (1e-9, 2, "0.00"),
    ],
)  # fmt: skip
def test_number(value: float | Decimal, decimals: int, text: str) -> None:
    assert figures.number(value, decimals) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(12.4, "+12 %"), (-8.04, "−8.0 %"), (0.0, "0.0 %"), (-0.04, "0.0 %"), (0.06, "+0.1 %"), (-52, "−52 %")],
)
def test_change_carries_its_sign(value: float, text: str) -> None:
    assert figures.change(value).replace("\u00a0", " ") == text


def test_ranges() -> None:
    assert figures.span(1180.4, 1619.6, figures.amount) == "1,180–1,620"
    assert figures.change_span(-12.3, -0.4) == "−12 to −0.4\u00a0%"


@pytest.mark.parametrize(("value", "text"), [(43.0, "43"), (37.66, "37.66"), (99.996, "100.00"), (100.4, "100")])
def test_amount_has_cents_only_where_they_matter(value: float, text: str) -> None:
    assert figures.amount(value) == text


def test_day_is_english_whatever_the_machine_speaks() -> None:
    assert figures.day(date(2026, 3, 4)) == "4\u00a0March 2026"


@pytest.mark.parametrize(
    ("share", "text"), [(0, "none"), (1, "all"), (0.125, "1 in 8"), (0.5, "1 in 2"), (0.9, "90 in 100")]
)
def test_shares(share: float, text: str) -> None:
    assert figures.in_so_many(share) == text


def test_a_table_of_one_line_of_headings() -> None:
    made = tables.table(
        "Kits", "Series< | Rows | Perhaps<<", [("Burren", "4", ""), tables.Row(("All", "4", ""), "total")], "", "x"
    )
    assert [(c.head, c.kind) for c in made.columns] == [("Series", "w"), ("Rows", "n"), ("Perhaps", "s")]
    assert [(row.cells[0], row.kind) for row in made.rows] == [("Burren", ""), ("All", "total")]
    assert made.notes == ("x",)


@given(st.text())
def test_short_keeps_within_its_columns(text: str) -> None:
    cut = words.short(text, 12)
    assert sum(words.width(c) for c in cut) <= 12
    assert cut == text or cut.endswith("…")


def test_wide_signs_take_two_columns() -> None:
    assert words.short("太鼓太鼓太鼓", 8) == "太鼓太…"


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"])))
def test_coding_is_undone_by_decoding(text: str) -> None:
    assert decoded(coded(text)) == words.plain(text)
    assert coded(text).isascii()
    assert coded(text).isalnum()


@given(st.text(st.characters()))
def test_plain_text_can_always_be_written(text: str) -> None:
    safe = words.plain(text)
    assert safe.encode().decode() == safe
    assert len(safe) == len(text)
    assert words.plain(safe) == safe


LOWS = st.floats(-1e6, 1e6)
WIDTHS = st.floats(1e-3, 1e7)


@given(LOWS, WIDTHS, st.integers(3, 10))
def test_linear_ticks_are_few_inside_and_rising(low: float, width: float, most: int) -> None:
    ticks = scales.linear_ticks(low, low + width, most)
    slack = 1e-6 * width + 1e-9
    assert 1 <= len(ticks) <= most
    assert all(low - slack <= t <= low + width + slack for t in ticks)
    assert list(ticks) == sorted(set(ticks))


@given(st.floats(1e-2, 1e6), st.floats(1.05, 1e6), st.integers(3, 10))
def test_log_ticks_are_few_inside_and_rising(low: float, factor: float, most: int) -> None:
    ticks = scales.log_ticks(low, low * factor, most)
    assert 1 <= len(ticks) <= most
    assert all(low * (1 - 1e-6) <= t <= low * factor * (1 + 1e-6) for t in ticks)
    assert list(ticks) == sorted(set(ticks))


@given(st.lists(st.floats(0, 500), min_size=1, max_size=6))
def test_labels_are_moved_apart_in_order(wanted: list[float]) -> None:
    places = scales.spread(wanted, 17.0)
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    for before, after in pairwise(order):
        assert places[after] - places[before] >= 17.0 - 1e-6


@given(st.lists(st.tuples(st.floats(1, 1e4), st.booleans()), max_size=60), st.integers(1, 20))
def test_thinning_keeps_order_bound_and_the_unusual(rows: list[tuple[float, bool]], most: int) -> None:
    numbered = [Sighting(i, "Burren", 5, 3, None, 500, at, ratio=1, unusual=odd) for i, (at, odd) in enumerate(rows)]
    kept = thinned(numbered, most)
    assert len(kept) == min(most, len(rows))
    assert [s.row for s in kept] == sorted({s.row for s in kept})
    odd = [s.row for s in numbered if s.unusual]
    assert set(odd[:most]) <= {s.row for s in kept}


@pytest.mark.parametrize(
    ("finished", "hours", "line", "sold"),
    [
        (Decimal(4), Decimal(6), "finished 4 (freshen), 6 hours", "in condition 4 after 6 hours"),
        (Decimal("4.5"), None, "finished 4.5", "in condition 4.5"),
        (None, Decimal(1), "1 hour", "after 1 hour"),
        (Decimal("5.0"), Decimal(0), "finished 5 (wipe), 0 hours", "in condition 5 after 0 hours"),
        (None, Decimal(16) / 3, "5.33 hours", "after 5.33 hours"),
        (None, None, "", ""),
    ],
)
def test_what_is_done_before_a_kit_is_sold(
    finished: Decimal | None, hours: Decimal | None, line: str, sold: str
) -> None:
    assert words.work_words(finished, hours, None) == line
    bought = f"{line}, parts 85.50" if line else "parts 85.50"
    assert words.work_words(finished, hours, Decimal("85.5")) == bought
    assert words.sold_words(finished, hours) == sold
