"""Puts the sheet together: one file that asks no network for anything."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any

from cli.visible import visible


def rendered(content: Mapping[str, Any]) -> str:
    """The page with its style, script and policy; whatever `content` says is escaped, except charts marked as markup."""
    from jinja2 import Environment, StrictUndefined

    from chemistry.units import figure
    from cli.pages import kept_together

    folder = resources.files("cli.sheet") / "page"
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, finalize=_visible
    )
    environment.filters |= {"kept": kept_together, "figure": figure}
    environment.policies["json.dumps_kwargs"] = {"separators": (",", ":"), "ensure_ascii": False}
    style = "".join(_text(folder / name) for name in ("page.css", "paper.css"))
    script = _script(folder / "script")
    return environment.from_string(_text(folder / "page.html.j2")).render(
        content, style=_markup(style), script=_markup(script), policy=_policy(style, script)
    )


def _script(folder: Traversable) -> str:
    """The files of the script in their order, in a scope of their own."""
    parts = sorted((part for part in folder.iterdir() if part.name.endswith(".js")), key=lambda part: part.name)
    return '(() => {\n"use strict";\n' + "\n".join(_text(part) for part in parts) + "})();\n"


def _policy(style: str, script: str) -> str:
    """Nothing is fetched from anywhere, and only this style and this script count."""
    allowed = f"style-src {_hash(style)}; script-src {_hash(script)}; img-src data:"
    return f"default-src 'none'; {allowed}; base-uri 'none'; form-action 'none'"


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _visible(value: Any) -> Any:
    """What is shown of a value; style, script, charts and data are what they are."""
    return visible(value) if isinstance(value, str) and not hasattr(value, "__html__") else value


def _text(file: Traversable) -> str:
    return file.read_text(encoding="utf-8")


def _markup(text: str) -> Any:
    from markupsafe import Markup

    return Markup(text)
