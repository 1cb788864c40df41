"""The report's pictures as files of their own: SVG that stands alone, and PNG."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from kitvalue.pages import charts
from kitvalue.pages.pictures.frame import WIDE, Chart
from kitvalue.pages.report import ReportView

DOTS_A_UNIT = 2.5
FONTS = "font-family=\"'Source Sans 3', 'Segoe UI', 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif\""


@dataclass(frozen=True, slots=True)
class ChartFile:
    """One file: its name, and what it holds."""

    name: str
    data: bytes


def chart_files(view: ReportView) -> Iterator[ChartFile]:
    """Every picture of the report, each as SVG and PNG under the id that it has in the page."""
    for chart in charts_of(view):
        yield ChartFile(f"{chart.id}.svg", svg_file(chart))
        yield ChartFile(f"{chart.id}.png", png_file(chart))


def charts_of(view: ReportView) -> tuple[Chart, ...]:
    """The pictures in the page's order."""
    found: list[Chart | None] = [
        view.market.prices if view.market else None,
        view.trend.picture if view.trend else None,
        view.trust.picture if view.trust else None,
        view.offers.picture,
    ]
    for build in view.builds:
        found += [build.cost, build.even, build.swings]
    return tuple(chart for chart in found if chart is not None)


def svg_file(chart: Chart) -> bytes:
    """The page's own drawing as a document: with its name space, fonts to choose from and white behind it."""
    head, _, rest = str(chart.wide).partition(">")
    open_tag = head.replace("<svg", f'<svg xmlns="http://www.w3.org/2000/svg" {FONTS}', 1)
    paper = '<rect width="100%" height="100%" fill="#FFFFFF" />'
    return f'<?xml version="1.0" encoding="utf-8"?>\n{open_tag}>{paper}{rest}\n'.encode()


def png_file(chart: Chart) -> bytes:
    """The same drawing as dots, for where SVG is not taken."""
    with charts.drawing():
        return charts.png_of(chart.draw(WIDE), DOTS_A_UNIT)
