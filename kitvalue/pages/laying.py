"""Laying out a page: the templates, and the digest that lets a page's own style or script through its own policy."""

from __future__ import annotations

import base64
import hashlib

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from kitvalue.pages.words import plain


def templates() -> Environment:
    """The templates of this room: every value is escaped, and an unknown name is an error."""
    return Environment(
        loader=PackageLoader("kitvalue.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finalize,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _finalize(value: object) -> object:
    """Every text of a page passes here: signs that could hide or turn the text around them are made visible."""
    return plain(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def digest(text: str) -> str:
    """The `sha256-` value of a Content-Security-Policy, without its prefix."""
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
