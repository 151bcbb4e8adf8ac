"""The `label` command."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import BadInput
from tapwright.cli.answer import Answer
from tapwright.cli.files.label_file import CLAIMS, Written, by_line, written
from tapwright.cli.options.of_parts import LabelOptions
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from tapwright.chemistry.dosing.label.case import Dose
    from tapwright.chemistry.dosing.label.claims import Claim
    from tapwright.chemistry.dosing.label.verdict import Content, Label

_AMOUNT = re.compile(r"^(?P<substance>.+?)(?:\s+(?P<amount>[\d.,]+\s*(?:%|[a-zA-Zµ]+/[a-zA-Z]+)))?$")
_PURITY = re.compile(r",\s*purity\s+(?P<purity>.+)$")
_OPTIONS = {"claim.by": "--by", "in": "--in"}


def answer(options: LabelOptions) -> Answer:
    """The judgement on a label as an answer."""
    from tapwright.chemistry.dosing.label.findings import assumptions_of, findings_of
    from tapwright.chemistry.dosing.label.verdict import judge

    reader = Reader()
    label_written = _written(options, reader)
    label = _label(label_written, reader)
    try:
        judgement = judge(label)
    except BadInput as error:  # a spoon of what has no bulk density
        raise BadInput.of(label_written.where("dose"), error.faults[0].message, error.faults[0].hint) from None
    findings, assumed = findings_of(label, judgement), assumptions_of(label, judgement)
    name = label_written.name or "without a name"

    def show(screen: Any) -> None:
        from tapwright.cli.pages.label import show_label

        show_label(screen, name, label, judgement, findings, assumed)

    result = {field.name: getattr(judgement, field.name) for field in fields(judgement) if field.name != "case"}
    return Answer("label", {"name": label_written.name, **result}, show, findings, assumed)


def _written(options: LabelOptions, reader: Reader) -> Written:
    """The label from the file, or from the options; never from both."""
    claim = {
        "raises": options.raises,
        "neutralises": options.neutralises,
        "contains": options.contains,
        "by": options.by,
    }
    given = [options.name, options.dose, options.volume, options.density, *claim.values(), *(options.content or ())]
    if options.file is not None:
        if any(given):
            raise BadInput.of("FILE", "a file and options are given; one of them says what the label states.")
        return written(options.file, reader)
    if not any(given):
        example = 'tapwright label demo/labels/hardness-honest.toml, or --dose "5 g" --in "9 L" --raises hardness --by "3 dGH"'
        raise BadInput.of("", "no label is given.", f"Write for example: {example}")
    return Written(
        options.name,
        options.dose,
        options.volume,
        options.density,
        {key: value for key, value in claim.items() if value is not None},
        tuple(_content_written(text) for text in options.content or ()),
        _option,
    )


def _option(key: str) -> str:
    """The option for a key of a label."""
    if key.startswith("content"):
        return "--content: purity" if key.endswith("purity") else "--content"
    return _OPTIONS.get(key, f"--{key.removeprefix('claim.')}")


def _content_written(text: str) -> Mapping[str, str]:
    """'magnesium sulfate heptahydrate 98%, purity 99%' -> its substance, amount and purity."""
    purity = _PURITY.search(text)
    match = _AMOUNT.match(text[: purity.start()].strip() if purity else text.strip())
    found = {**(match.groupdict() if match else {"substance": text}), **(purity.groupdict() if purity else {})}
    return {key: value for key, value in found.items() if value is not None}


# --- the words of a label as a record -------------------------------------------------------------------------------


def _label(label: Written, reader: Reader) -> Label:
    """The label for the engine. Raises BadInput with every fault of it."""
    from tapwright.chemistry.dosing.label.reading import density_of
    from tapwright.chemistry.dosing.label.verdict import Label

    density = label.density
    density_kg_l = None if density is None else reader.tried(lambda: density_of(density, label.where("density")))
    claims = _claims(label, reader)
    contents = _contents(label, reader)
    dose, unstated = _dose(label, claims, reader)
    try:
        reader.done()
        return Label(claims, contents, dose, density_kg_l, unstated)
    except BadInput as error:
        # What does not fit together is named by its key alone; what was read, by its place already.
        placed = (
            replace(fault, where=label.where(fault.where)) if fault.where == "content" else fault
            for fault in error.faults
        )
        raise by_line(tuple(placed)) from None


def _claims(label: Written, reader: Reader) -> tuple[Claim, ...]:
    """Every way to read the claim."""
    from tapwright.chemistry.dosing.label.claims import CONTAINED, NEUTRALISED, RAISED, claims_of, contained, effect_of

    stated = [key for key in CLAIMS if key in label.claim]
    by = label.claim.get("by")
    if len(stated) > 1:
        where = ", ".join(label.where(f"claim.{key}") for key in stated[1:])
        reader.refuse(
            where, f"a label is checked for one claim at a time; it claims {' and '.join(stated)}.", "Keep one."
        )
    if by is None:
        reader.refuse(
            label.where("claim.by"), "not given: by how much does the label say?", 'Write for example by = "3 dGH".'
        )
    if len(stated) > 1 or by is None:
        return ()
    if not stated:
        return reader.tried(lambda: claims_of(None, by, label.where("claim.by"))) or ()
    (key,) = stated
    allowed = {"raises": RAISED, "neutralises": NEUTRALISED, "contains": CONTAINED}[key]
    effect = reader.tried(lambda: effect_of(label.claim[key], allowed, label.where(f"claim.{key}")))
    if effect is None:
        return ()
    read_by = contained if key == "contains" else claims_of
    return reader.tried(lambda: read_by(effect, by, label.where("claim.by"))) or ()


def _contents(label: Written, reader: Reader) -> tuple[Content, ...]:
    """What the label says is in it."""
    from tapwright.chemistry.dosing.label.reading import content_of

    found = []
    for number, entry in enumerate(label.contents):
        keys = [label.where(f"content.{number}.{key}") for key in ("substance", "amount", "purity")]
        if "substance" not in entry:
            reader.refuse(keys[0], "not given, and it is needed.", 'Write for example substance = "potassium nitrate".')
            continue
        content = reader.tried(
            partial(
                content_of, entry["substance"], entry.get("amount"), entry.get("purity"), (keys[0], keys[1], keys[2])
            )
        )
        found += [] if content is None else [content]
    return tuple(found)


def _dose(label: Written, claims: Sequence[Claim], reader: Reader) -> tuple[Dose | None, tuple[str, ...]]:
    """The dose and the water it is for, or which of the two the label does not state."""
    from tapwright.chemistry.dosing.label.case import Dose
    from tapwright.chemistry.dosing.label.reading import dose_of

    wheres = label.where("dose"), label.where("in")
    # What one of them lacks must not hide what is wrong with the other.
    stated = ("1 g" if label.dose is None else label.dose, "1 L" if label.volume is None else label.volume)
    dose = reader.tried(lambda: dose_of(*stated, *wheres))
    if claims and claims[0].by_product:  # so much of the product, as if dissolved in one litre
        return (Dose(1.0, grams=1.0) if claims[0].by_product == "g" else Dose(1.0, millilitres=1.0)), ()
    unstated = {"how much a dose is": label.dose, "how much water a dose is for": label.volume}
    missing = tuple(what for what, stated in unstated.items() if stated is None)
    return (None if missing else dose), missing
