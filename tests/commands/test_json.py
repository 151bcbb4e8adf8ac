"""The JSON of every command: one document, one version of its keys, figures that can be read."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from conftest import DEMO, Outcome

from tapwright.cli.answer import SCHEMA_VERSION


@pytest.mark.parametrize("tank", ["Rock wall", "Shell bay"])
def test_json_holds_no_dust_and_no_more_digits_than_anyone_can_use(
    tapwright: Callable[..., Outcome], tank: str
) -> None:
    def numbers(value: Any) -> Iterator[float]:
        if isinstance(value, float):
            yield value
        elif isinstance(value, dict | list):
            for entry in value.values() if isinstance(value, dict) else value:
                yield from numbers(entry)

    found = list(numbers(tapwright("plan", DEMO, "--tank", tank, "--json", "--confident").json))
    assert len(found) > 100
    assert [value for value in found if value != float(f"{value:.8g}") or 0 < abs(value) < 1e-9] == []


@pytest.mark.parametrize(
    "words", [("plan", DEMO, "--tank", "Rock wall"), ("convert", "8 dGH", "mmol/L"), ("check", "no")]
)
def test_every_document_says_which_keys_it_has(tapwright: Callable[..., Outcome], words: tuple[Any, ...]) -> None:
    document = tapwright(*words, "--json").json
    assert list(document)[:4] == ["tool", "version", "schema_version", "command"]
    assert document["schema_version"] == SCHEMA_VERSION
