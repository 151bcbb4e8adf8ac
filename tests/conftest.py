"""What the tests share: the demo, a household text to spoil, and the command line run in process."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import pytest
from hypothesis import settings

from tapwright.cli.app import run
from tapwright.cli.files.household_template import filled

# What the tests start finds compiled files, as in any installation, wherever a machine forbids to write them: half of what
# a command takes would be compiling.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "demo" / "house.toml"

# One profile for all machines: no deadline (a shared core may stall), and the same examples in every run.
settings.register_profile("steady", deadline=None, derandomize=True, max_examples=60)
settings.load_profile("steady")


def missing(what: str) -> NoReturn:
    """Skip; fail where a machine that builds runs this: a check that cannot fail is none."""
    if os.environ.get("CI"):
        pytest.fail(what)
    pytest.skip(what)


@dataclass(frozen=True)
class Outcome:
    """What a command left: exit code, stdout, stderr."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        """stdout as the one JSON document it must be."""
        document: dict[str, Any] = json.loads(self.out)
        return document


_SEVERAL = {"--salt", "--band", "--refill-band", "--limit", "--part", "--content", "--reading", "--dosed", "--contains"}


def _last_of_each(words: list[str]) -> list[str]:
    """Without options that come again further on, and their values."""
    dropped: set[int] = set()
    for place, word in enumerate(words):
        if word.startswith("--") and word not in _SEVERAL and word in words[place + 1 :]:
            has_value = place + 1 < len(words) and not words[place + 1].startswith("--")
            dropped |= {place, *((place + 1,) if has_value else ())}
    return [word for place, word in enumerate(words) if place not in dropped]


@pytest.fixture
def tapwright(capsys: pytest.CaptureFixture[str]) -> Callable[..., Outcome]:
    """Run the command line with the given words; an option of one value that comes again stands in place of the first."""

    def call(*words: object) -> Outcome:
        capsys.readouterr()
        code = run(_last_of_each([str(word) for word in words]))
        out, err = capsys.readouterr()
        return Outcome(code, out, err)

    return call


@pytest.fixture
def household_text() -> str:
    """A household file without a fault, from the template's own examples."""
    return filled()
