"""A drawing as SVG that stands inside the page: no style of its own, the page's colour, words for who cannot see it."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from tapwright.cli.pages.nitrate_chart import plotting

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SVG, _XLINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}"
_POINTS = re.compile(r"(?:\w+ )*?([\d.]+)px")
_LONG, _DIGITS = ("d", "x", "y", "transform"), re.compile(r"-?\d+\.\d{3,}")
# What matplotlib draws in black takes the colour of the page's letters, light or dark.
_BLACK = "#000000"


def inlined(figure: Figure, name: str, title: str) -> str:
    """The figure as one svg element whose ids begin with `name`, so that several may stand on a page."""
    matplotlib = plotting()

    page = io.StringIO()
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": name}):
        bare = {"Date": None, "Creator": None, "Format": None, "Type": None}
        figure.savefig(page, format="svg", transparent=True, metadata=bare)
    root = ElementTree.fromstring(page.getvalue())
    for element in list(root):
        if element.tag == f"{_SVG}metadata":
            root.remove(element)
    for parent in root.iter():
        for sheet in parent.findall(f"{_SVG}style"):
            parent.remove(sheet)
    for element in root.iter():
        _plain(element, name)
    root.attrib = {
        "viewBox": root.attrib["viewBox"],
        "role": "img",
        "aria-labelledby": f"{name}-title",
        "class": "chart",
        "fill": "currentColor",  # black is not written out, being what nothing said means
    }
    said = ElementTree.Element("title", {"id": f"{name}-title"})
    said.text = title
    root.insert(0, said)
    return ElementTree.tostring(root, encoding="unicode", short_empty_elements=True)


def _plain(element: ElementTree.Element, name: str) -> None:
    """Namespaces go, ids take the prefix, and styles become attributes, which no policy of the page forbids."""
    element.tag = element.tag.removeprefix(_SVG)
    if href := element.attrib.pop(f"{_XLINK}href", None):
        element.set("href", f"#{name}-{href[1:]}")
    if own := element.get("id"):
        element.set("id", f"{name}-{own}")
    for declaration in element.attrib.pop("style", "").split(";"):
        key, _, value = (part.strip() for part in declaration.partition(":"))
        if key == "font" and (size := _POINTS.match(value)):
            element.set("font-size", size[1])
        elif key and key != "font":
            element.set(key, value)
    for key, value in element.attrib.items():
        if key in _LONG:
            element.set(key, _DIGITS.sub(lambda number: f"{float(number[0]):.2f}", value))
        elif value == _BLACK:
            element.set(key, "currentColor")
        elif value.startswith("url(#"):
            element.set(key, f"url(#{name}-{value[5:]}")
