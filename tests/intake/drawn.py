"""Price books drawn at random: clean cells, and every kind of cell that the readers have something to say of."""

from __future__ import annotations

import random

from hypothesis import strategies as st

SETTINGS = """
[shop]
name = "Dock Road Drums"
currency = "EUR"
[prices.columns]
price_kind = "status"
[prices.words.condition]
good = "freshen"
[prices.words.channel]
forum = "private"
[prices.features]
hardware = "yes-no"
holes = "number"
colour = "word"
"""
LISTED = SETTINGS + "[series.Burren]\nalso = ['Burren MkI']\n[series.Slane]\n"
COLUMNS = (
    "date", "series", "pieces", "condition", "price", "status", "sold_for", "channel", "premium", "currency",
    "freight", "weight", "hardware", "holes", "colour", "ref", "note",
)  # fmt: skip
CLEAN = {
    "date": ["2024-04-03", "2023-12-31", "03.04.2024", ""], "series": ["Burren", "Slane", "burren", "Kilbeg", "Buren"],
    "pieces": ["4", "5", "6"], "condition": ["3", "good", "3.5", "4"],
    "price": ["480", "480.50", "612.9", "1250", "99.99", "350"], "status": ["asked", "sold", "SOLD", ""],
    "sold_for": ["", "", "", "450", "399.50", "no"],
    "channel": ["forum", "dealer", "", "auction"], "premium": ["", "20", "0"], "currency": ["", "EUR", "eur"],
    "freight": ["", "25", "0", "30.00"], "weight": ["", "2", "0.5"], "hardware": ["yes", "no", ""],
    "holes": ["", "1", "2.5"], "colour": ["", "red", "Red", "blue"], "ref": ["", "a1", "a2", "-", "b3"],
    "note": ["", "x", "a longer note than eight bytes", "grün – €"],
}  # fmt: skip
DIRTY = {
    "date": ["4/3/23", "31.02.2024", "13/4/23", "2/20/25", "x", "-", " 2024-01-01 "],
    "series": ["", "Summe", "40 kits", "#REF!", " Burren ", "Burren MkI", "\u200bSlane"],
    "pieces": ["0", "4+1", "", "five", "50", "5 pcs", "-", "22/12/16", "22x16 16x16", "22,124,16"],
    "condition": ["", "x", "9", "fine"],
    "price": ["1.250", "1.250,00", "480 €", "480 CHF", "VB", "500 VB", "-1", "", "0", "1", "1234", "450-500",
        "480,50", "1e9", "١٢", "4 8", "450-500 CHF", "CHF"],
    "status": ["hammer", "stolen"],
    "sold_for": ["1.100", "1.100,00", "420 €", "420 CHF", "420 GBP", "420 VB", "0", "-5", "1", "400-450", "480,50",
        "nicht verkauft", "-", "?", "Still  there", "sold", "yes", " 410 ", "#REF!"],
    "channel": ["=1+1", "shop"], "premium": ["20 %", "100", "x"],
    "currency": ["CHF", "GBP", "?"], "freight": ["inkl.", "-5", "10 VB", "10 CHF", "1.250"], "weight": ["0",
        "x"], "hardware": ["maybe"],
    "holes": ["1,5", "x", "1.250"], "colour": ["#N/A", " red"], "ref": [" a1 ", "?"],
    "note": [" x ", "\u00a0", "=1+1"],
}  # fmt: skip
ASIDE = {
    "date": ["?", "k. A."], "series": ["unknown", "?"], "condition": ["2-", "1-2", "3,0", "n/a"], "status": ["?"],
    "channel": [" unbekannt"], "hardware": ["?? "], "holes": ["N/A"], "colour": ["not known"], "freight": ["?"],
}  # fmt: skip
DIRTY |= {name: [*DIRTY[name], *cells] for name, cells in ASIDE.items()}
RATES = "date;currency;rate\n2023-01-01;CHF;1.05\n2024-01-01;CHF;x\n"


def drawn_row(columns: tuple[str, ...], odd: int) -> st.SearchStrategy[list[str]]:
    """A row in which about one cell of so many is dirty."""
    return st.tuples(
        *(st.sampled_from(CLEAN[name] * odd + DIRTY[name] if odd else CLEAN[name]) for name in columns)
    ).map(list)


@st.composite
def tables(draw: st.DrawFn) -> str:
    needed = {"series", "pieces", "condition", "price"}
    columns = tuple(name for name in draw(st.permutations(COLUMNS)) if name in needed or draw(st.integers(0, 3)) > 0)
    sign = draw(st.sampled_from([";", ",", "\t"]))
    rows = draw(st.lists(drawn_row(columns, draw(st.sampled_from([0, 0, 12, 4]))), min_size=1, max_size=12))
    if draw(st.booleans()):
        rows += draw(st.lists(st.sampled_from(rows), max_size=3))
    lines = [sign.join(columns), *(sign.join(_quoted(cell, sign) for cell in cells) for cells in rows)]
    odd = ["", " ", sign * (len(columns) - 1), "x", sign.join(columns), sign * 30, sign * len(columns)]
    for extra in draw(st.lists(st.sampled_from(odd), max_size=2)):
        lines.insert(draw(st.integers(1, len(lines))), extra)
    if draw(st.integers(0, 5)) == 0:
        lines.insert(0, f"sep={sign}")
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    return end.join(lines) + (end if draw(st.booleans()) else "")


def _quoted(cell: str, sign: str) -> str:
    return f'"{cell}"' if sign in cell or "a1" in cell else cell


def tall_text(rows: int, dirty: float = 0.01) -> str:
    """A book of so many rows, of whose cells the share `dirty` is odd."""
    draw = random.Random(7)
    lines = [";".join(COLUMNS)]
    for _ in range(rows):
        lines.append(";".join(draw.choice(DIRTY[n] if draw.random() < dirty else CLEAN[n]) for n in COLUMNS))
    return "\n".join(lines) + "\n"
