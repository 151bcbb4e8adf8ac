"""Sheets as the command writes them, with the engine's own plan beside them."""

from __future__ import annotations

import contextlib
import io
import json
import re
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from conftest import DEMO

from tapwright.chemistry.plan.planner import Plan
from tapwright.cli.app import run

DAY = "2026-03-14"
_DATA = re.compile(r'(<script type="application/json" id="plan">)(.*?)(</script>)', re.DOTALL)


@dataclass(frozen=True)
class Written:
    """A page on disk. house: the household file it was made from; options: those of the plan."""

    path: Path
    house: Path
    tank: str
    options: tuple[str, ...]
    code: int

    @property
    def url(self) -> str:
        return self.path.as_uri()

    @cached_property
    def html(self) -> str:
        return self.path.read_text(encoding="utf-8")

    @cached_property
    def data(self) -> dict[str, Any]:
        """What the page's script knows."""
        found: dict[str, Any] = json.loads(_DATA.search(self.html)[2])
        return found

    @cached_property
    def plan(self) -> dict[str, Any]:
        """The result of `tapwright plan --json` with the same options."""
        _, out = called("plan", self.house, "--tank", self.tank, *self.options, "--json")
        found: dict[str, Any] = json.loads(out)["result"]
        return found

    @cached_property
    def made(self) -> Plan:
        """The engine's plan itself."""
        from tapwright.cli.commands.plan import planned
        from tapwright.cli.options.of_evening import PlanOptions

        jobs = {job.replace("-", "_"): f"--{job}" in self.options for job in ("clean-substrate", "service-filter")}
        return planned(PlanOptions(file=self.house, tank=self.tank, date=DAY, **jobs)).made

    def with_rows(self, rows: list[list[float | None]], path: Path) -> Written:
        """The same page with another table for the forgotten neutraliser."""
        data = self.data | {"late": self.data["late"] | {"from_tote": [rows]}}
        path.write_text(_DATA.sub(lambda found: found[1] + json.dumps(data) + found[3], self.html), encoding="utf-8")
        return Written(path, self.house, self.tank, self.options, self.code)


def called(*words: object) -> tuple[int, str]:
    """Exit code and stdout of a command; its stderr where it failed for bad input."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run([str(word) for word in words])
    assert code in (0, 1), err.getvalue()
    return code, out.getvalue()


def written(folder: Path, tank: str, *options: str, edits: tuple[tuple[str, str], ...] = ()) -> Written:
    """The page of a tank of the demo, with some text of the household file replaced."""
    folder.mkdir(parents=True, exist_ok=True)
    content = DEMO.read_text(encoding="utf-8")
    for old, new in edits:
        assert old in content
        content = content.replace(old, new)
    house, path = folder / "house.toml", folder / "sheet.html"
    house.write_text(content, encoding="utf-8")
    dated = options if "--date" in options else ("--date", DAY, *options)
    code, _ = called("sheet", house, "--tank", tank, "-o", path, *dated)
    return Written(path, house, tank, dated, code)
