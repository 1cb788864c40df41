"""The templates of this room, and pages made of them: every value is escaped, and an unknown name is an error."""

from __future__ import annotations

import base64
import hashlib

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from kitvalue.pages.words import plain

TEMPLATES = Environment(
    loader=PackageLoader("kitvalue.pages"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
    # signs that could hide or turn the text around them are made visible
    finalize=lambda value: plain(value) if isinstance(value, str) and not hasattr(value, "__html__") else value,
    lstrip_blocks=True,
)  # fmt: skip


def styled_page(name: str, *styles: str, **values: object) -> str:
    """The template `name` with these style sheets inside; the page's policy names their digest."""
    css = "".join(TEMPLATES.get_template(style).render() for style in styles)
    style = Markup(css)  # noqa: S704 - our own templates
    return TEMPLATES.get_template(name).render(css=style, css_hash=digest(css), **values)


def digest(text: str) -> str:
    """The `sha256-` value of a Content-Security-Policy, without its prefix."""
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
