"""The customer's sheet as one HTML page: no script, nothing fetched, one or two sheets of A4 when printed."""

from __future__ import annotations

from markupsafe import Markup

from kitvalue.pages.pictures.frame import chart
from kitvalue.pages.sheet.given import SheetView
from kitvalue.pages.words import digest, templates


def render_sheet(view: SheetView) -> str:
    """The whole page, each picture drawn at both widths. Equal input gives equal text."""
    pages = templates()
    css = pages.get_template("report.css").render() + pages.get_template("sheet.css").render()
    pictures = [
        (chart(p.name, p.title, p.description, p.table, p.draw, p.keys, p.note), p.words) for p in view.pictures
    ]
    style = Markup(css)  # noqa: S704 - our own templates
    return pages.get_template("sheet.html").render(page=view, pictures=pictures, css=style, css_hash=digest(css))
