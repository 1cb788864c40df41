"""The customer's sheet as one HTML page: no script, nothing fetched, one or two sheets of A4 when printed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from markupsafe import Markup

from kitvalue.pages.charts import Figure
from kitvalue.pages.pictures.builds import originals_figure, sizes_figure
from kitvalue.pages.pictures.frame import Chart, Layout, chart
from kitvalue.pages.sheet.given import Captioned, SheetView
from kitvalue.pages.words import digest, templates


@dataclass(frozen=True, slots=True)
class Pictures:
    """The sheet's pictures, drawn."""

    dots: Chart
    sizes: Chart | None


def render_sheet(view: SheetView) -> str:
    """The whole page. Equal input gives equal text."""
    pages = templates()
    css = pages.get_template("report.css").render() + pages.get_template("sheet.css").render()
    style = Markup(css)  # noqa: S704 - our own templates
    return pages.get_template("sheet.html").render(page=view, pictures=pictures(view), css=style, css_hash=digest(css))


def pictures(view: SheetView) -> Pictures:
    """Draw both pictures at both widths."""
    dots, lines = view.dots, view.sizes
    drawn = None
    if lines is not None and view.sizes_around is not None:
        drawn = _chart("sizes", view.sizes_around, lambda layout: sizes_figure(lines, layout))
    return Pictures(_chart("dots", view.dots_around, lambda layout: originals_figure(dots, layout)), drawn)


def _chart(name: str, around: Captioned, draw: Callable[[Layout], Figure]) -> Chart:
    return chart(name, around.title, around.description, around.table, draw, around.keys, around.note)
