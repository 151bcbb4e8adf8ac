"""docs/envelope.md tells every limit of the envelope as the tables have it now."""

from __future__ import annotations

import importlib.util

from conftest import ROOT


def test_the_page_of_limits_is_as_the_tables_are() -> None:
    spec = importlib.util.spec_from_file_location("envelope_page", ROOT / "docs" / "envelope.py")
    assert spec is not None and spec.loader is not None
    page = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(page)
    text = page.PAGE.read_text(encoding="utf-8")
    assert page.renewed(text) == text, "renew it with: python docs/envelope.py"
    assert len(page.used()) > 25
