"""The customer's sheet as a PDF, set anew from the same parts as the page, with its fonts inside.

Raises FileError when it is imported where the library for PDF is not installed.
"""

from __future__ import annotations

import io
import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Final

from kitvalue.intake.text.problems import FileError
from kitvalue.pages import charts
from kitvalue.pages.charts import BLUE, FADED, INK, ORANGE, RULE, VERMILLION
from kitvalue.pages.pictures.frame import NARROW
from kitvalue.pages.sheet.view import SheetView
from kitvalue.pages.tables import Fact, Row, Table
from kitvalue.pages.words import plain

try:
    from fpdf import FPDF
    from fpdf.enums import TableBordersLayout
    from fpdf.fonts import FontFace
except ImportError as why:
    raise FileError(
        '--pdf needs the package fpdf2, which is not installed: pip install "kitvalue[pdf]", or leave --pdf out, open '
        "the page in a browser and print it"
    ) from why

FACE: Final = "sheet"
MARGIN: Final = 15.0  # millimetres, here as everywhere below
WIDTH: Final = 180.0
GAP: Final = 8.0
SLIM: Final = 90  # percent of the font's own width, which is large
DOTS_A_UNIT: Final = 4.0
TEXT: Final = 8.8  # points
SIGNS: Final = {"less": ("●", ORANGE), "more": ("○", BLUE), "cost": ("●", BLUE), "original": ("◆", VERMILLION),
                "band": ("■", ORANGE)}  # fmt: skip


@dataclass(frozen=True, slots=True)
class PdfSheet:
    """The document, and the signs in its texts that its font lacks: these are not on it."""

    data: bytes
    lacking: str


def sheet_pdf(view: SheetView, today: date) -> PdfSheet:
    """The whole document: A4, one or two pages for a usual kit. Equal input gives equal bytes."""
    pdf = _document(view, today)
    pdf.add_page()
    _text(pdf, view.dated, 9.5, BLUE)
    _text(pdf, view.kit, 19, INK)
    _heading(pdf, view.headings["kit"])
    _text(pdf, " ".join(view.about), 10)
    _facts(pdf, view.facts)
    _table(pdf, view.drums, (28, 36, 28, 24, 20, 44))
    if view.price is not None or view.price_words:
        _heading(pdf, view.headings["price"])
    if view.price is not None:
        _table(pdf, view.price, (140, 40))
    for words in view.price_words:
        _text(pdf, words, TEXT)
    _room(pdf, 40)
    _heading(pdf, view.headings["against"])
    _text(pdf, " ".join(view.verdict), 10)
    _room(pdf, 8.4 * len(view.side.rows))
    _table(pdf, view.side, (31, 68, 81))
    _pictures(pdf, view)
    _room(pdf, 40)
    _heading(pdf, view.headings["evidence"])
    _facts(pdf, view.evidence)
    for words in view.method:
        _text(pdf, words, TEXT)
    _text(pdf, view.headings["care"], 9.6, bold=True)
    for words in view.cautions:
        _text(pdf, f"–  {words}", TEXT)
    logging.getLogger("fpdf").setLevel(logging.ERROR)  # it logs what its font lacks; the caller tells it instead
    data = bytes(pdf.output())
    lacking = {code for font in pdf.fonts.values() for code in getattr(font, "missing_glyphs", ())}
    return PdfSheet(data, "".join(chr(code) for code in sorted(lacking)))


def _document(view: SheetView, today: date) -> FPDF:
    class Sheet(FPDF):
        def footer(self) -> None:
            self.set_y(-12)
            _style(self, 7.2, FADED)
            self.cell(WIDTH, 4, plain(view.footer))

    pdf = Sheet(format="A4")
    for style, file in zip(("", "B"), charts.FONT_FILES, strict=True):
        pdf.add_font(FACE, style, file)
    pdf.set_margins(MARGIN, 13, MARGIN)
    pdf.set_auto_page_break(True, 16)
    pdf.set_title(plain(view.title))
    pdf.set_lang(view.language)
    pdf.set_creation_date(datetime.combine(today, time(), UTC))
    return pdf


def _room(pdf: FPDF, height: float) -> None:
    """Begin a new page where what belongs together would not fit on this one."""
    if pdf.will_page_break(height):
        pdf.add_page()


def _style(pdf: FPDF, size: float, colour: str = INK, bold: bool = False) -> None:
    pdf.set_font(FACE, "B" if bold else "", size)
    pdf.set_stretching(SLIM)
    pdf.set_text_color(colour)


def _column(
    pdf: FPDF, text: str, width: float, line: float, size: float, colour: str = INK, bold: bool = False
) -> None:  # fmt: skip
    """A text folded to so wide a column, each line so high; the next one begins beneath it."""
    _style(pdf, size, colour, bold)
    pdf.multi_cell(width, line, plain(text), align="L", new_x="LEFT", new_y="NEXT")


def _text(pdf: FPDF, text: str, size: float, colour: str = INK, bold: bool = False) -> None:
    _column(pdf, text, WIDTH, size * 0.5, size, colour, bold)
    pdf.ln(1.2)


def _heading(pdf: FPDF, text: str) -> None:
    pdf.ln(2.2)
    pdf.set_draw_color(INK)
    pdf.set_line_width(0.7)
    pdf.line(MARGIN, pdf.get_y(), MARGIN + WIDTH, pdf.get_y())
    pdf.ln(1.4)
    _text(pdf, text, 13)


def _facts(pdf: FPDF, facts: Sequence[Fact]) -> None:
    """Figures side by side: what each is, the figure, its note."""
    width, top, bottom = WIDTH / len(facts), pdf.get_y() + 1, 0.0
    for i, fact in enumerate(facts):
        pdf.set_xy(MARGIN + i * width, top)
        for text, size, colour in ((fact.label, 7.2, FADED), (fact.value, 12.0, INK), (fact.note, 7.2, FADED)):
            pdf.set_x(MARGIN + i * width)
            _column(pdf, text, width - 3, size * 0.46, size, colour)
        bottom = max(bottom, pdf.get_y())
    pdf.set_draw_color(RULE)
    pdf.set_line_width(0.2)
    for i in range(1, len(facts)):
        pdf.line(MARGIN + i * width - 2.4, top, MARGIN + i * width - 2.4, bottom)
    pdf.set_xy(MARGIN, bottom + 3)


def _table(pdf: FPDF, table: Table, widths: tuple[float, ...]) -> None:
    _text(pdf, table.caption, 9, bold=True)
    _style(pdf, TEXT)
    pdf.set_draw_color(RULE)
    pdf.set_line_width(0.2)
    align = tuple("RIGHT" if column.kind == "n" else "LEFT" for column in table.columns)
    with pdf.table(
        width=WIDTH, col_widths=widths, text_align=align, line_height=TEXT * 0.46, padding=(0.55, 1, 0.55, 0),
        borders_layout=TableBordersLayout.HORIZONTAL_LINES, headings_style=FontFace(emphasis="", color=FADED),
    ) as laid:  # fmt: skip
        for row in (Row(tuple(column.head for column in table.columns)), *table.rows):
            style = FontFace(emphasis="B") if row.kind in ("total", "subtotal") else None
            cells = laid.row()
            for cell in row.cells:
                cells.cell(plain(cell), style=style)
    pdf.ln(1.5)


def _pictures(pdf: FPDF, view: SheetView) -> None:
    """The pictures side by side, each under its title and its key."""
    width = (WIDTH - GAP) / 2
    with charts.drawing():
        drawn = [charts.png_of(p.draw(NARROW), DOTS_A_UNIT) for p in view.pictures]
    _room(pdf, 85)
    top, bottom = pdf.get_y() + 1.5, 0.0
    for i, (picture, png) in enumerate(zip(view.pictures, drawn, strict=True)):
        left = MARGIN + i * (width + GAP)
        pdf.set_xy(left, top)
        _column(pdf, picture.title, width, 4.4, 9, bold=True)
        for key in picture.keys:
            sign, colour = SIGNS[key.glyph]
            pdf.set_x(left)
            _style(pdf, 7.4, colour)
            pdf.cell(4, 3.7, sign)
            _style(pdf, 7.4, FADED)
            pdf.cell(80, 3.7, plain(key.text), new_x="LMARGIN", new_y="NEXT")
            pdf.set_x(left)
        if picture.note:
            _style(pdf, 7.4, FADED)
            pdf.cell(width, 3.7, plain(picture.note), new_x="LEFT", new_y="NEXT")
        at = pdf.get_y() + 1.5
        image = pdf.image(io.BytesIO(png), left, at, width, alt_text=plain(picture.description))
        pdf.set_xy(left, at + image.rendered_height + 1)
        if picture.words:
            _column(pdf, picture.words, width, 4, TEXT)
        bottom = max(bottom, pdf.get_y())
    pdf.set_xy(MARGIN, bottom)
