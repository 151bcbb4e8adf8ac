"""Every row of the tables says where it is from, and the formulas' sources are all written out."""

from __future__ import annotations

import pytest

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput

TABLES = sorted(path.stem for path in reference.FOLDER.glob("*.csv"))
HOW_KNOWN = {"text", "package", "derived", "memory", "practice"}


@pytest.mark.parametrize("name", TABLES)
def test_every_row_has_its_source_and_how_it_is_known(name: str) -> None:
    rows = reference.table(name)
    assert rows
    for key, row in rows.items():
        assert row["source"] in reference.sources(), f"{name}: {key}"
        assert row["seen"] in HOW_KNOWN, f"{name}: {key}"
        assert (row["source"] == "practice") == (row["seen"] == "practice"), f"{name}: {key}"


@pytest.mark.parametrize("name", TABLES)
def test_every_row_with_a_value_has_a_number_and_a_unit_column(name: str) -> None:
    for row in reference.table(name).values():
        if "value" in row:
            float(row["value"])
            assert row["unit"] is not None


def test_every_source_written_out_is_used() -> None:
    used = {row["source"] for name in TABLES for row in reference.table(name).values()}
    assert set(reference.sources()) == used


def test_a_missing_table_is_one_clear_fault() -> None:
    with pytest.raises(BadInput, match=r"tables/no_such\.csv: there is no such table"):
        reference.table("no_such")


def test_a_citation_says_how_a_value_is_known() -> None:
    assert "from memory" in reference.citation("lakes", "malawi.calcium")
    assert reference.citation("limits", "hardness_step") == "common practice, no source"
    assert reference.citation("limits", "scald_from").startswith("US CPSC")
