"""Reads a label file: TOML with nothing unknown in it, every value a text as the label writes it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.words import nearest, quoted, told
from tapwright.cli.files.toml_file import Lines, Location, located, parsed, text_of, the_first
from tapwright.cli.reading import Reader

_LONGEST = 200  # letters of a text
_MOST_CONTENTS = 100
CLAIMS = ("raises", "neutralises", "contains")
_LABEL = {"name": '"Clearwell salt"', "dose": '"5 g"', "in": '"100 L"', "density": '"1.2 kg/L"'}
_CLAIM = {"raises": '"hardness"', "neutralises": '"chlorine"', "contains": '"nitrate"', "by": '"3 dGH"'}
_CONTENT = {"substance": '"magnesium sulfate heptahydrate"', "amount": '"98%"', "purity": '"99%"'}


@dataclass(frozen=True)
class Written:
    """A label as written, from a file or from options: texts, None where it states nothing.

    claim: by `raises`, `neutralises`, `contains` and `by`.  contents: by `substance`, `amount` and `purity`; empty
    where the label states none.  where: names a key, such as 'claim.by' or 'content.0.amount', in a fault.
    """

    name: str | None
    dose: str | None
    volume: str | None
    density: str | None
    claim: Mapping[str, str]
    contents: tuple[Mapping[str, str], ...]
    where: Callable[[str], str]


def written(path: Path, reader: Reader) -> Written:
    """The label of a file; what is unknown or no text in it is refused through the reader.

    Raises BadInput for a file that is no TOML or not there.
    """
    text = text_of(path, "Labels to look at lie in demo/labels.")
    data = parsed(text, path, ("content",))
    lines = Lines(text)

    def at(place: Location) -> str:
        return located(path, lines.of(place), place)

    def where(key: str) -> str:
        return at([int(part) if part.isdigit() else part for part in key.split(".")])

    top = _texts(data, _LABEL, (), reader, at, tables=("claim", "content"))
    claim = data.get("claim", {})
    if not isinstance(claim, dict):
        reader.refuse(where("claim"), f"{told(claim)} is read; a table is wanted.", "Write [claim].")
        claim = {}
    contents = data.get("content", [])
    if not isinstance(contents, list) or not all(isinstance(entry, dict) for entry in contents):
        reader.refuse(where("content"), "a list of tables is wanted.", "Write [[content]], once for each.")
        contents = []
    elif len(contents) > _MOST_CONTENTS:
        reader.refuse(where("content"), f"{len(contents)} are given; {_MOST_CONTENTS} at most are read.")
        contents = []
    elif not contents and "content" in data:
        reader.refuse(
            where("content"), "is empty.", "List what is in it, or leave `content` out if the label does not say."
        )
    return Written(
        name=top.get("name"),
        dose=top.get("dose"),
        volume=top.get("in"),
        density=top.get("density"),
        claim=_texts(claim, _CLAIM, ("claim",), reader, at),
        contents=tuple(
            _texts(entry, _CONTENT, ("content", number), reader, at) for number, entry in enumerate(contents)
        ),
        where=where,
    )


def by_line(faults: tuple[Fault, ...]) -> BadInput:
    """The same faults in the order of their lines, as one error."""

    def line(fault: Fault) -> int:
        numbers = [part for part in fault.where.split(":") if part.isdigit()]
        return int(numbers[-1]) if numbers else 0

    return BadInput(the_first(sorted(dict.fromkeys(faults), key=line)))


def _texts(
    table: Mapping[str, Any],
    examples: Mapping[str, str],
    under: tuple[str | int, ...],
    reader: Reader,
    at: Callable[[Location], str],
    tables: tuple[str, ...] = (),
) -> dict[str, str]:
    """The texts of a table; a key that is not known, and a value that is no text, is refused and left out."""
    found = {}
    for key, value in table.items():
        if key in tables:
            continue
        if key not in examples:
            known = (*examples, *tables)
            near = nearest(key, known, n=1, cutoff=0.5)
            hint = f"Did you mean '{near[0]}'?" if near else f"Known keys: {', '.join(known)}."
            reader.refuse(at((*under, key)), "is not a key known here.", hint)
        elif not isinstance(value, str):
            said = f"{told(value)} is read; text in quotes is wanted."
            reader.refuse(at((*under, key)), said, f"Write for example {key} = {examples[key]}.")
        elif not value.strip() or not value.isprintable() or len(value) > _LONGEST:
            said = f"{quoted(value)} {'is too long' if value.isprintable() else 'holds a control character'}."
            said = said if value.strip() else "is empty."
            reader.refuse(at((*under, key)), said, f"Write for example {key} = {examples[key]}, or leave it out.")
        else:
            found[key] = value.strip()
    return found
