"""A page taken apart, for tests: elements with their attributes and text, in order."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

from kitvalue.pages.words import HIDDEN

VOID = frozenset({"meta", "br", "hr", "img", "link", "input"})


@dataclass
class Element:
    """One element; `inside` are its descendants in order, `text` all the text in it."""

    tag: str
    attributes: dict[str, str]
    inside: list[Element] = field(default_factory=list)
    text: str = ""

    def all(self, tag: str) -> list[Element]:
        return [e for e in self.inside if e.tag == tag]


class Page(HTMLParser):
    """Every element of a page; a closing tag that closes nothing, or the wrong thing, fails the test."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("page", {})
        self.open = [self.root]
        self.feed(html)
        self.close()
        assert self.open == [self.root], [e.tag for e in self.open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {k: v or "" for k, v in attrs})
        assert len(element.attributes) == len(attrs), f"an attribute twice on {tag}"
        for outer in self.open:
            outer.inside.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        for outer in self.open:
            outer.text += data


def page_of(html: str) -> Element:
    return Page(html).root


def foreign(html: str, scripts: int = 0) -> list[str]:
    """What no word of a file may put on a page: scripts, handlers, frames, requests, signs that hide or turn text."""
    page = page_of(html)  # fails where a word closes an element
    found = [] if len(page.all("script")) == scripts else ["a script"]
    for element in page.inside:
        found += [f"the attribute {name}" for name in element.attributes if name.startswith("on")]
        found += [f"<{element.tag}>"] if element.tag in ("iframe", "object", "embed", "base") else []
        link = element.attributes.get("href", "#").lower()
        found += [f"a link to {link}"] if link.startswith(("javascript", "data")) else []
        source = element.attributes.get("src", "data:")
        found += [] if source.startswith("data:") else [f"a request for {source}"]
    found += [
        f"the sign U+{ord(c):04X}" for c in sorted({*html} & {*HIDDEN, *map(chr, (*range(9), *range(14, 32), 127))})
    ]
    policies = [e.attributes["content"] for e in page.all("meta") if "http-equiv" in e.attributes]
    strict = [policy.startswith("default-src 'none'") and "unsafe" not in policy for policy in policies]
    return found if strict == [True] and "http" not in policies[0] else [*found, f"the policy {policies}"]
