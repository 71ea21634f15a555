"""The layouts of pages: one way of reading them for all, in which what a template is not given is an error, not a blank."""

from __future__ import annotations

import re
from functools import cache

import jinja2
from markupsafe import Markup, escape

from penult.outputs.texts import words


@cache
def template(name: str) -> jinja2.Template:
    """Return a layout out of `templates`, which takes up to a tenth of a second to read the first time."""
    return _environment().get_template(name)


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("penult", "outputs/templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.globals.update(words=words)
    environment.filters["unbroken"] = unbroken
    return environment


def unbroken(text: str) -> Markup:
    """Return text as a page sets it: signs as printed, a command line option in one piece."""
    escaped = str(escape(text.replace(" +- ", f" {words.PLUS_MINUS} ").replace("m/s2", "m/s²")))
    return Markup(re.sub(r"(--[a-z][a-z-]*(?: [\w.]*\w)?)", r"<code>\1</code>", escaped))
