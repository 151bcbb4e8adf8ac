"""What the engine calls a quantity, and the option that gives it: the one place where the two meet."""

from __future__ import annotations

from tapwright.chemistry.errors import Fault

# As the engine writes them, in the place of a fault or in what to do about it.
_OPTIONS = {
    "the change share": "--change",
    "change share": "--change",
    "an earlier day": "an earlier --since",
    "interval": "--interval",
    "tank": "--tank",
}
_IN_A_HINT = ("the change share", "change share", "an earlier day")


def as_options(fault: Fault) -> Fault:
    """The same fault in the words of the command line."""
    hint = fault.hint
    for name in _IN_A_HINT:
        hint = hint.replace(name, _OPTIONS[name])
    return Fault(_OPTIONS.get(fault.where, fault.where), fault.message, hint, fault.place)
