"""What the tests of the sheet share: its page as a tree, and every fault that a page of its kind may have."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from unittest.mock import patch

from conftest import DEMO
from houses import NAMES

from tapwright.chemistry.plan.figures.records import Figures, Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.late.dose import Case
from tapwright.chemistry.plan.late.from_plan import late_cases
from tapwright.chemistry.plan.planner import Plan, plan
from tapwright.cli.commands.plan import Planned
from tapwright.cli.sheet.command import page_of

DAY = date(2026, 3, 14)
VOID = {"meta", "link", "input", "br", "hr", "img"}
# What ends a paragraph by itself, so that its own end tag would have none to end.
BLOCKS = {"p", "div", "dl", "ul", "ol", "table", "section", "figure", "h1", "h2", "h3"}
POINTERS = ("for", "aria-labelledby", "aria-describedby", "aria-controls")
LEAVES = ("http://", "https://", "//", "ws:", "wss:", "ftp:", "file:", "javascript:", "blob:")
# Words of a script that fetch, or that turn text into markup.
FORBIDDEN = ("fetch(", "XMLHttpRequest", "WebSocket", "EventSource", "sendBeacon", "import(", "importScripts", "innerHTML",
             "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "Function(")  # fmt: skip


@dataclass
class Node:
    """An element: its tag, attributes, and what is in it."""

    tag: str
    has: dict[str, str] = field(default_factory=dict)
    inside: list[Node | str] = field(default_factory=list)

    def every(self, tag: str = "", **has: str) -> list[Node]:
        """Elements below, in the order of the page; class_='x' asks for one of the classes."""
        return [node for node in self._below() if node._fits(tag, has)]

    def one(self, tag: str = "", **has: str) -> Node:
        (found,) = self.every(tag, **has)
        return found

    @property
    def text(self) -> str:
        """Its words, with single blanks."""
        return flat("".join(self._words()))

    @property
    def classes(self) -> list[str]:
        return self.has.get("class", "").split()

    def _below(self) -> Iterator[Node]:
        for part in self.inside:
            if isinstance(part, Node):
                yield part
                yield from part._below()

    def _fits(self, tag: str, has: dict[str, str]) -> bool:
        asked = {key.rstrip("_").replace("_", "-"): value for key, value in has.items()}
        return tag in ("", self.tag) and all(
            value in self.classes if key == "class" else self.has.get(key) == value for key, value in asked.items()
        )

    def _words(self) -> Iterator[str]:
        if self.tag in ("script", "style"):
            return
        for part in self.inside:
            yield part if isinstance(part, str) else "".join(part._words())
        if self.tag in BLOCKS or self.tag in ("li", "td", "th", "dt", "dd", "text"):
            yield " "


def flat(text: str) -> str:
    """With single blanks, as a browser shows it."""
    return " ".join(text.split())


class _Tree(HTMLParser):
    """Builds the tree, and notes every tag that does not end as it should."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("")
        self.open = [self.root]
        self.faults: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in BLOCKS and self.open[-1].tag == "p":
            self.faults.append(f"<{tag}> in <p>")
        self._add(tag, attrs)
        if tag not in VOID:
            self.open.append(self.open[-1].inside[-1])  # type: ignore[arg-type]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID and not any(node.tag == "svg" for node in self.open):
            self.faults.append(f"<{tag}/> ends nothing")
        self._add(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if self.open[-1].tag == tag:
            self.open.pop()
        else:
            self.faults.append(f"</{tag}> in <{self.open[-1].tag}>")

    def handle_data(self, data: str) -> None:
        self.open[-1].inside.append(data)

    def _add(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        twice = [name for name, count in Counter(name for name, _ in attrs).items() if count > 1]
        self.faults += [f"<{tag}> has {name} twice" for name in twice]
        self.open[-1].inside.append(Node(tag, {name: value or "" for name, value in attrs}))


def tree_of(page: str) -> tuple[Node, list[str]]:
    """The page's elements, and what is wrong with its tags."""
    tree = _Tree()
    tree.feed(page)
    tree.close()
    left = [f"<{node.tag}> is not ended" for node in tree.open[1:]]
    return tree.root, tree.faults + left


def faults_of(page: str) -> list[str]:
    """Every fault of a page that must stand by itself."""
    root, faults = tree_of(page)
    nodes = root.every()
    ids = Counter(node.has["id"] for node in nodes if "id" in node.has)
    faults += [f"id {id} stands {count} times" for id, count in ids.items() if count > 1]
    for node in nodes:
        for name in POINTERS:
            faults += [f"{name} to no {id}" for id in node.has.get(name, "").split() if id not in ids]
        for name, value in node.has.items():
            if name == "style" or name.startswith("on") or name in ("src", "srcset", "action", "ping", "formaction"):
                faults.append(f"<{node.tag}> has {name}")
            if value.strip().lower().startswith(LEAVES):
                faults.append(f'<{node.tag}> has {name}="{value}"')
            faults += [f"{value} leads nowhere" for id in re.findall(r"url\(#([^)]*)\)", value) if id not in ids]
        target = node.has.get("href", "")
        if (target.startswith("#") and target[1:] not in ids) or (
            not target.startswith(("#", "data:")) and "href" in node.has
        ):
            faults.append(f'href="{target}" leads nowhere here')
    if nodes and re.search(r"(?:https?|wss?|ftp)://", page.replace("http://www.w3.org/2000/svg", "")):
        faults.append("an address of a network")
    return faults + _faults_of_code(root)


def _faults_of_code(root: Node) -> list[str]:
    """Of the style, the script and the policy that allows these two alone."""
    style, scripts = _raw(root.one("style")), [node for node in root.every("script") if "type" not in node.has]
    faults = [f"the style says {word}" for word in ("@import", "url(", "expression(", "@font-face") if word in style]
    faults += [f"the script says {word}" for word in FORBIDDEN if word in "".join(map(_raw, scripts))]
    (policy,) = [
        node.has["content"] for node in root.every("meta") if node.has.get("http-equiv") == "Content-Security-Policy"
    ]
    allowed = {name: values for name, *values in (part.split() for part in policy.split(";"))}
    wanted = {"style-src": [_hash(style)], "script-src": [_hash(_raw(node)) for node in scripts]}
    faults += [f"{name} allows {allowed.get(name)}" for name, values in wanted.items() if allowed.get(name) != values]
    faults += [
        f"{name} is open" for name in ("default-src", "base-uri", "form-action") if allowed.get(name) != ["'none'"]
    ]
    others = {name: values for name, values in allowed.items() if name not in wanted}
    faults += [f"{name} allows {value}" for name, values in others.items() for value in values
               if value not in ("'none'", "data:") or (value == "data:" and name != "img-src")]  # fmt: skip
    return faults


def _raw(node: Node) -> str:
    return "".join(part for part in node.inside if isinstance(part, str))


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def data_of(root: Node) -> dict[str, Any]:
    """What the page's script reads."""
    data: dict[str, Any] = json.loads(_raw(root.one("script", id="plan")))
    return data


def text_of_page(made: Plan, *, charts: bool = False, file: Path = DEMO, day: date = DAY) -> str:
    """The page of a plan; without its charts, which take a second, nor the worst means of chlorine, which none shows."""
    with ExitStack() as stack:
        stack.enter_context(patch("tapwright.chemistry.change.filling.chlorine.worst_mean_mg_l", return_value=0.0))
        if not charts:
            stack.enter_context(patch("tapwright.cli.sheet.command._charts", return_value=[]))
        return page_of(Planned(made, None, day), file)


def sheet_of(house: Household, tank: str = NAMES[0], share: float | None = None, jobs: Jobs | None = None) -> Node:
    """The page of a household's tank as a tree, without charts and without a fault."""
    page = text_of_page(plan(house, tank, share, jobs))
    assert faults_of(page) == []
    return tree_of(page)[0]


def first_case(figures: Figures) -> Case | None:
    """As if nothing had been neutralised; None where there is nothing to neutralise."""
    cases = late_cases(figures)
    return cases[0] if cases else None
