"""Puts the sheet together: one file that asks no network for anything."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any

from tapwright.cli.visible import visible


def rendered(content: Mapping[str, Any]) -> str:
    """The page with its style, script and policy; whatever `content` says is escaped, except charts marked as markup."""
    from jinja2 import Environment, StrictUndefined

    from tapwright.chemistry.units import figure
    from tapwright.cli.pages.pieces import kept_together

    folder = resources.files("tapwright.cli.sheet") / "page"
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, finalize=_seen, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters |= {"kept": kept_together, "figure": figure}
    environment.policies["json.dumps_kwargs"] = {"separators": (",", ":"), "ensure_ascii": False}
    template = environment.from_string(_text(folder / "page.html.j2"))
    content = {**content, "data": {**content["data"], "id": _identity(template, content)}}
    style = "".join(_text(folder / name) for name in ("page.css", "paper.css"))
    script = _script(folder / "script")
    return template.render(content, style=_markup(style), script=_markup(script), policy=_policy(style, script))


def _identity(template: Any, content: Mapping[str, Any]) -> str:
    """Names the plan by all that its page says and counts with: ticks of one that differs in any figure or word are no ticks
    of this. The charts, which look back from the present minute, say nothing that a step rests on.
    """
    shown = template.render(content, charts=(), style="", script="", policy="")
    return hashlib.sha256(shown.encode()).hexdigest()[:16]


def _seen(value: Any) -> Any:
    """What is put into the page with every letter of it to be seen, except markup, which is ours."""
    return visible(value) if isinstance(value, str) and not hasattr(value, "__html__") else value


def _script(folder: Traversable) -> str:
    """The files of the script in their order, in a scope of their own; what explains it to its readers stays behind."""
    parts = sorted((part for part in folder.iterdir() if part.name.endswith(".js")), key=lambda part: part.name)
    lines = [line.strip() for part in parts for line in _text(part).splitlines()]
    kept = [line for line in lines if line and not _explains(line)]
    return '(() => {\n"use strict";\n' + "\n".join(kept) + "\n})();\n"


def _explains(line: str) -> bool:
    """Whether a line of a script is a comment as a whole: words, or types for who checks them."""
    return line.startswith("//") or (line.startswith("/**") and line.endswith("*/"))


def _policy(style: str, script: str) -> str:
    """Nothing is fetched from anywhere, and only this style and this script count."""
    allowed = f"style-src {_hash(style)}; script-src {_hash(script)}; img-src data:"
    return f"default-src 'none'; {allowed}; base-uri 'none'; form-action 'none'"


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _text(file: Traversable) -> str:
    return file.read_text(encoding="utf-8")


def _markup(text: str) -> Any:
    from markupsafe import Markup

    return Markup(text)
