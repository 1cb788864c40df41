"""Drawing: the only place that knows the plotting library. Pictures elsewhere are drawn with the functions here.

The Figure and its SVG canvas are used directly: no window, no back end, no global state. One unit of the drawing is one
CSS pixel at the picture's own width. Every text, the ticks' included, goes through `coded`: the library then never
measures, typesets or looks up a glyph for a user's words, so `$`, emoji and Japanese are plain text like any other.

For a page the SVG is made fit: no outside names, no style rules, its own ids, a spoken title.
"""

from __future__ import annotations

import io
import logging
import os
import re
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal, cast
from xml.etree import ElementTree

from markupsafe import Markup

from kitvalue.pages.words import plain

# The colours of Okabe and Ito, told apart by every eye.
BLACK: Final = "#000000"
ORANGE: Final = "#E69F00"
SKY: Final = "#56B4E9"
GREEN: Final = "#009E73"
BLUE: Final = "#0072B2"
VERMILLION: Final = "#D55E00"
PURPLE: Final = "#CC79A7"

# The neutral tones of ink on paper: text, secondary text, rules.
INK: Final = "#1B1B1B"
FADED: Final = "#575757"
RULE: Final = "#CFCDC6"
PAPER: Final = "#FFFFFF"

logging.getLogger("matplotlib").setLevel(logging.ERROR)  # a folder for its cache that it lacks is no one's concern here
_asked = os.environ.pop("MPLBACKEND", None)  # importing the library fails on a back end that it does not know
try:
    from matplotlib import get_data_path, rc_context, rcParamsDefault
    from matplotlib.axes import Axes as Axes
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure as Figure
    from matplotlib.text import Text
finally:
    if _asked is not None:
        os.environ["MPLBACKEND"] = _asked

UNITS_AN_INCH = 72  # of the SVG canvas
TEXT = 13.0  # units
NARROWER = 0.86  # what brings the library's own font to the width of a page's
SALT = "kitvalue"  # makes the ids inside the SVG the same on every run
XLINK_HREF = "{http://www.w3.org/1999/xlink}href"
REFERENCE = re.compile(r"#([^)\"\s]+)")
LONG_NUMBER = re.compile(r"-?\d+\.\d{2,}")
NO_TURN = re.compile(r"rotate\(-?0(\.0+)? ")
CODED = re.compile("kv((?:[0-9a-f]{2})*)vk")
ROUNDED = frozenset({"d", "x", "y", "points", "transform", "width", "height", "viewBox"})
DROPPED = frozenset({"metadata", "style"})
OF_THE_PAGE = frozenset({"font-family", "font-stretch", "font-variant"})  # the page's own fonts hold
# The plain and the bold font that the library brings, for documents that carry their own.
FONT_FILES: Final = tuple(Path(get_data_path(), "fonts/ttf", f"DejaVuSans{bold}.ttf") for bold in ("", "-Bold"))
MACHINE_SETTINGS = ("backend", "backend_fallback", "interactive", "toolbar")  # never ours to set


@dataclass(frozen=True, slots=True)
class Box:
    """The plotting area inside a picture: distances from its edges, in units."""

    left: float
    top: float
    right: float
    bottom: float


@contextmanager
def drawing() -> Iterator[None]:
    """The library's own defaults, whatever a settings file on this machine says; text stays text."""
    settings: dict[str, Any] = {key: value for key, value in rcParamsDefault.items() if key not in MACHINE_SETTINGS}
    settings |= {"svg.fonttype": "none", "svg.hashsalt": SALT, "font.size": TEXT, "text.parse_math": False}
    with rc_context(cast(Any, settings)):  # some versions of the library spell out every key as its type
        yield


def canvas(width: float, tall: float, box: Box) -> tuple[Figure, Axes]:
    """An empty figure so many units wide, and in its box axes so many units tall without frame, ticks or background."""
    height = box.top + tall + box.bottom
    figure = Figure(figsize=(width / UNITS_AN_INCH, height / UNITS_AN_INCH), dpi=UNITS_AN_INCH)
    FigureCanvasSVG(figure)
    figure.patch.set_visible(False)
    across = width - box.left - box.right
    ax = figure.add_axes((box.left / width, box.bottom / height, across / width, tall / height))
    for spine in ax.spines.values():
        spine.set_visible(False)
    ax.patch.set_visible(False)
    ax.set_xticks([])
    ax.set_yticks([])
    ax.minorticks_off()
    return figure, ax


def write(
    ax: Axes,
    at: tuple[float, float],
    text: str,
    *,
    shift: tuple[float, float] = (0, 0),
    colour: str = INK,
    size: float = TEXT,
    anchor: Literal["left", "center", "right"] = "left",
    level: Literal["center", "baseline", "top"] = "center",
    bold: bool = False,
) -> None:
    """Set a text at a point of the data, shifted by so many units right and up."""
    ax.annotate(
        coded(text), at, xytext=shift, textcoords="offset points", annotation_clip=False, color=colour,
        fontsize=size, ha=anchor, va=level, fontweight="bold" if bold else "normal", zorder=6,
    )  # fmt: skip


def write_below(ax: Axes, text: str) -> None:
    """The bottom axis' name with its unit, at the left end of the plotting area."""
    write(ax, (ax.get_xlim()[0], ax.get_ylim()[0]), text, shift=(0, -28), colour=FADED, level="top")


def log_axis(ax: Axes, which: Literal["x", "y"], low: float, high: float) -> None:
    """A log axis from low to high, still without ticks of the library's own."""
    ax.set(**{f"{which}scale": "log", f"{which}lim": (low, high)})
    axis = ax.xaxis if which == "x" else ax.yaxis
    axis.set_ticks([])
    axis.set_ticks([], minor=True)


def ticks(ax: Axes, which: Literal["x", "y"], values: Sequence[float], told: Callable[[float], str]) -> None:
    """Values along the bottom or the left, a hairline across from each."""
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    for value in values:
        xs, ys = ([value, value], [bottom, top]) if which == "x" else ([left, right], [value, value])
        ax.plot(xs, ys, color=RULE, linewidth=0.7, zorder=0, gid="grid")
        if which == "x":
            write(ax, (value, bottom), told(value), shift=(0, -7), colour=FADED, anchor="center", level="top")
        else:
            write(ax, (left, value), told(value), shift=(-7, 0), colour=FADED, anchor="right")


def svg_of(figure: Figure) -> str:
    """The figure as SVG, the same bytes for the same drawing."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None})
    return out.getvalue()


def png_of(figure: Figure, dots_a_unit: float) -> bytes:
    """The figure as PNG on white. Its texts are set in the library's own font, whose letters are wider than a page's;
    a sign that this font lacks is drawn as a box."""
    for text in figure.findobj(Text):
        assert isinstance(text, Text)  # noqa: S101 - for the type checker; it is what was looked for
        text.set_text(decoded(text.get_text()))
        text.set_fontsize(float(text.get_fontsize()) * NARROWER)
    figure.patch.set_visible(True)
    FigureCanvasAgg(figure)
    out = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        figure.savefig(out, format="png", dpi=dots_a_unit * UNITS_AN_INCH, facecolor=PAPER, metadata={"Software": None})
    return out.getvalue()


def coded(text: str) -> str:
    """The text as plain letters that only `decoded` reads."""
    return f"kv{plain(text).encode().hex()}vk"


def decoded(text: str) -> str:
    """The texts of a drawing as they were written."""
    return CODED.sub(lambda one: bytes.fromhex(one[1]).decode(), text)


def inline(raw: str, name: str, kind: str, title: str, description: str) -> Markup:
    """The SVG as one element of class `kind`, texts decoded and escaped once; `name` is unique in the page, `title` and
    `description` are for listeners.

    Style rules become attributes, so a page that forbids styles from elsewhere shows it; ids nothing refers to go.
    """
    root = ElementTree.fromstring(raw)  # noqa: S314 - drawn by this program a moment ago
    values = [v for e in root.iter() for key, v in e.attrib.items() if key == XLINK_HREF or "url(#" in v]
    out = _copied(root, name, {target for value in values for target in REFERENCE.findall(value)})
    for key in ("width", "height", "version"):
        out.attrib.pop(key, None)
    out.attrib |= {
        "class": kind,
        "role": "img",
        "aria-labelledby": f"{name}-t {name}-d",
        "stroke-linejoin": "round",
    }
    for place, (tag, text) in enumerate((("title", title), ("desc", description))):
        spoken = ElementTree.Element(tag, {"id": f"{name}-{tag[0]}"})
        spoken.text = plain(text)
        out.insert(place, spoken)
    return Markup(ElementTree.tostring(out, encoding="unicode"))  # noqa: S704 - the writer escapes every text


def _copied(element: ElementTree.Element, prefix: str, used: set[str]) -> ElementTree.Element:
    """The element without names of other vocabularies, its children likewise; empty groups are left out."""
    out = ElementTree.Element(element.tag.rpartition("}")[2], _attributes(element, prefix, used))
    if out.tag == "text":
        out.text = decoded(element.text or "")
    for child in element:
        copy = _copied(child, prefix, used)
        if copy.tag in DROPPED or (copy.tag in ("g", "defs") and not len(copy)):
            continue
        if copy.tag == "g" and not copy.attrib:
            out.extend(copy)
        else:
            out.append(copy)
    return out


def _attributes(element: ElementTree.Element, prefix: str, used: set[str]) -> dict[str, str]:
    """The element's attributes, its style rules among them, references and ids with the prefix, numbers rounded."""
    attributes: dict[str, str] = {}
    for key, value in element.attrib.items():
        if key == "style":
            attributes |= _rules(value)
        elif key == XLINK_HREF:
            attributes["href"] = value
        elif key == "id" and value in used:
            attributes["id"] = f"{prefix}-{value}"
        elif key not in ("id", "type") and not (key == "transform" and NO_TURN.match(value)):
            attributes[key] = value
    for key, value in attributes.items():
        if key == "href" or "url(#" in value:
            attributes[key] = REFERENCE.sub(rf"#{prefix}-\1", value)
        elif key in ROUNDED:
            short = LONG_NUMBER.sub(lambda long: f"{float(long[0]):.1f}".removesuffix(".0"), value)
            attributes[key] = " ".join(short.split())
    return attributes


def _rules(style: str) -> dict[str, str]:
    """`fill: none; font: 12px 'Some Sans'` as attributes."""
    attributes: dict[str, str] = {}
    for rule in style.split(";"):
        key, _, value = (part.strip() for part in rule.partition(":"))
        if key == "font":  # the shorthand of some versions: weight, size, families
            size = re.search(r"([\d.]+)px", value)
            attributes |= {"font-size": size[1]} if size else {}
            attributes |= {"font-weight": "700"} if re.match(r"(bold|[6-9]00)\b", value) else {}
        elif key == "font-size":
            attributes[key] = value.removesuffix("px")
        elif key and key not in OF_THE_PAGE:
            attributes[key] = value
    return attributes
