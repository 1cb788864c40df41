"""A drawing's SVG made fit to stand inside a page: no outside names, no style rules, its own ids, a spoken title."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Names:
    """What a picture is called: `id` unique in the page, `kind` its class, title and description for listeners."""

    id: str
    kind: str
    title: str
    description: str


def coded(text: str) -> str:
    """The text as plain letters that only `decoded` reads."""
    return f"kv{plain(text).encode().hex()}vk"


def decoded(text: str) -> str:
    """The texts of a drawing as they were written."""
    return CODED.sub(lambda found: bytes.fromhex(found[1]).decode(), text)


def inline(raw: str, names: Names) -> Markup:
    """The SVG as one element, texts decoded and escaped once.

    Style rules become attributes, so a page that forbids styles from elsewhere shows it; ids nothing refers to go.
    """
    root = ElementTree.fromstring(raw)  # noqa: S314 - drawn by this program a moment ago
    out = _copied(root, names.id, frozenset(_referred_to(root)))
    for key in ("width", "height", "version"):
        out.attrib.pop(key, None)
    out.attrib |= {
        "class": names.kind,
        "role": "img",
        "aria-labelledby": f"{names.id}-t {names.id}-d",
        "stroke-linejoin": "round",
    }
    out.insert(0, _spoken("desc", f"{names.id}-d", names.description))
    out.insert(0, _spoken("title", f"{names.id}-t", names.title))
    return Markup(ElementTree.tostring(out, encoding="unicode"))  # noqa: S704 - the writer escapes every text


def _spoken(tag: str, name: str, text: str) -> ElementTree.Element:
    element = ElementTree.Element(tag, {"id": name})
    element.text = plain(text)
    return element


def _referred_to(root: ElementTree.Element) -> Iterator[str]:
    for element in root.iter():
        for key, value in element.attrib.items():
            if key == XLINK_HREF or "url(#" in value:
                yield from REFERENCE.findall(value)


def _copied(element: ElementTree.Element, prefix: str, used: frozenset[str]) -> ElementTree.Element:
    """The element without names of other vocabularies, its children likewise; empty groups are left out."""
    out = ElementTree.Element(_bare(element.tag), _attributes(element, prefix, used))
    if out.tag == "text":
        out.text = decoded(element.text or "")
    for child in element:
        if _bare(child.tag) in DROPPED:
            continue
        copy = _copied(child, prefix, used)
        if copy.tag in ("g", "defs") and not len(copy):
            continue
        if copy.tag == "g" and not copy.attrib:
            out.extend(copy)
        else:
            out.append(copy)
    return out


def _bare(tag: str) -> str:
    return tag.rpartition("}")[2]


def _attributes(element: ElementTree.Element, prefix: str, used: frozenset[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in element.attrib.items():
        if key == "style":
            found |= _rules(value)
        elif key == XLINK_HREF:
            found["href"] = value
        elif key == "id":
            if value in used:
                found["id"] = f"{prefix}-{value}"
        elif key != "type" and not (key == "transform" and NO_TURN.match(value)):
            found[key] = value
    return {key: _tidy(key, value, prefix) for key, value in found.items()}


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
