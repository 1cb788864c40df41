"""A drawing's SVG made fit to stand inside a page: no outside names, no style rules, its own ids, a spoken title."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from markupsafe import Markup

from kitvalue.pages.words import plain

XLINK_HREF = "{http://www.w3.org/1999/xlink}href"
REFERENCE = re.compile(r"#([^)\"\s]+)")
LONG_NUMBER = re.compile(r"-?\d+\.\d{2,}")
NO_TURN = re.compile(r"rotate\(-?0(\.0+)? ")
CODED = re.compile("kv((?:[0-9a-f]{2})*)vk")
ROUNDED = frozenset({"d", "x", "y", "points", "transform", "width", "height", "viewBox"})
DROPPED = frozenset({"metadata", "style"})
OF_THE_PAGE = frozenset({"font-family", "font-stretch", "font-variant"})  # the page's own fonts hold


def coded(text: str) -> str:
    """The text as plain letters that only `decoded` reads."""
    return f"kv{plain(text).encode().hex()}vk"


def decoded(text: str) -> str:
    """The texts of a drawing as they were written."""
    return CODED.sub(lambda found: bytes.fromhex(found[1]).decode(), text)


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
    return {key: _tidy(key, value, prefix) for key, value in attributes.items()}


def _rules(style: str) -> dict[str, str]:
    """`fill: none; font: 12px 'Some Sans'` as attributes."""
    found: dict[str, str] = {}
    for rule in style.split(";"):
        key, _, value = (part.strip() for part in rule.partition(":"))
        if key == "font":  # the shorthand of some versions: weight, size, families
            size = re.search(r"([\d.]+)px", value)
            found |= {"font-size": size[1]} if size else {}
            found |= {"font-weight": "700"} if re.match(r"(bold|[6-9]00)\b", value) else {}
        elif key == "font-size":
            found[key] = value.removesuffix("px")
        elif key and key not in OF_THE_PAGE:
            found[key] = value
    return found


def _tidy(key: str, value: str, prefix: str) -> str:
    if key == "href" or "url(#" in value:
        return REFERENCE.sub(lambda found: f"#{prefix}-{found[1]}", value)
    if key in ROUNDED:
        return LONG_NUMBER.sub(lambda found: f"{float(found[0]):.1f}".removesuffix(".0"), " ".join(value.split()))
    return value
