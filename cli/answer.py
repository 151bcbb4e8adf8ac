"""What a command answers, and how it leaves the program: one JSON document, or a page for a person."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tapwright import __version__
from tapwright.chemistry.errors import TapwrightError
from tapwright.chemistry.record import plain, rounded
from tapwright.cli.option_names import as_options
from tapwright.cli.streams import printed, tell, write
from tapwright.cli.visible import visible

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.findings import Finding

_NARROW, _WIDE = 40, 80
# Of the JSON documents; one more whenever a key goes or changes its meaning.
SCHEMA_VERSION = 2


@dataclass(frozen=True)
class Answer:
    """The answer of one command: result for machines, show for people, findings and assumptions for both.

    done: what it has done for good, as a sentence, to be said where the answer cannot be printed; empty for nothing.
    as_written: whether its figures are what somebody wrote, and not to be rounded.
    """

    command: str
    result: Mapping[str, Any]
    show: Callable[[Console], None]
    findings: Sequence[Finding] = ()
    assumptions: Sequence[str] = ()
    done: str = ""
    as_written: bool = False

    @property
    def exit_code(self) -> int:
        """1 when a stop finding stands, else 0."""
        return int(any(finding.level == "stop" for finding in self.findings))

    def document(self) -> dict[str, Any]:
        """The JSON document of the answer."""
        return {
            **_head(self.command),
            "result": plain(self.result) if self.as_written else rounded(plain(self.result)),
            "findings": rounded(plain(self.findings)),
            "assumptions": list(self.assumptions),
        }


def emit(answer: Answer, *, as_json: bool) -> int:
    """Write the answer to stdout; returns the exit code to leave with."""
    return printed(lambda: _put(answer, as_json=as_json), answer.exit_code, answer.done)


def _put(answer: Answer, *, as_json: bool) -> None:
    if as_json:
        print_json(answer.document())
        return
    screen = console()
    with screen.capture() as page:
        answer.show(screen)
    # A wrapped line may end in a blank; nobody wants those in a file or a clipboard.
    write("".join(f"{line.rstrip()}\n" for line in page.get().splitlines()), sys.stdout)


def refuse(error: TapwrightError, command: str, *, as_json: bool) -> int:
    """Write an error: as JSON to stdout, or its faults to stderr in one block; returns the exit code to leave with."""
    told = [as_options(fault) for fault in error.faults]
    if as_json:
        faults = [{"where": fault.where, "message": fault.message, "hint": fault.hint} for fault in told]
        document = {**_head(command), "error": {"kind": error.kind, "faults": faults, **plain(error.details)}}
        return printed(lambda: print_json(document), error.exit_code)
    for fault in told:
        tell(str(fault))
    return error.exit_code


def console() -> Console:
    """The terminal, never wider than 80 columns so that lines stay readable, with colour only where it is wanted.

    Text that is printed on it shows every letter: what a name, a note or a file holds must not speak to the terminal.
    """
    from rich.console import Console

    class Screen(Console):
        def print(self, *objects: Any, **options: Any) -> None:
            shown = (visible(each, keep="\n") if isinstance(each, str) else each for each in objects)
            super().print(*shown, **options)

    screen = Screen(highlight=False, markup=False, emoji=False)
    screen.width = max(_NARROW, min(screen.width, _WIDE))
    return screen


def print_json(document: Mapping[str, Any]) -> None:
    """One JSON document on stdout; letters that stdout cannot encode go out as JSON escapes."""
    text = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        text = json.dumps(document, indent=2, allow_nan=False)
    sys.stdout.write(text + "\n")


def _head(command: str) -> dict[str, Any]:
    return {"tool": "tapwright", "version": __version__, "schema_version": SCHEMA_VERSION, "command": command}
