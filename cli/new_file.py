"""Writes a new file whole, or says why it cannot."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from uuid import uuid4

from chemistry.errors import BadInput


def write_new(path: Path, text: str, *, force: bool = False, hint: str = "Give another name.") -> None:
    """Text to a file as it stands; BadInput where something is there already (unless forced) or the folder takes no file.

    Forced, it is written whole beside the old one first: a disk that fills up halfway leaves that as it was.
    hint: what to do where something is there already.
    """
    content = text.encode("utf-8")
    refuse_place(path, force=force, hint=hint)
    target = path.with_name(f".{uuid4().hex}.part") if force else path
    try:
        with target.open("xb") as file:
            file.write(content)
        if target != path:
            target.replace(path)
    except FileExistsError:
        raise _stands(path, hint) from None
    except OSError as error:
        if target != path:
            with suppress(OSError):
                target.unlink(missing_ok=True)
        reason = (error.strerror or "unknown reason").lower()
        raise BadInput.of(
            str(path), f"cannot be written: {reason}.", "Give a name in a folder you may write to."
        ) from None


def refuse_place(path: Path, *, force: bool = False, hint: str = "Give another name.") -> None:
    """What can be said before there is a text to write: BadInput for a folder, for what is no ordinary file, such as a
    device, and where something is there already (unless forced)."""
    with suppress(OSError):  # a name too long to ask about is refused when it is opened
        if path.is_dir():
            raise BadInput.of(str(path), "is a folder.", f"Give a file in it, such as {path / 'new-file'}.")
        if not path.exists():
            return
        if not path.is_file():
            raise BadInput.of(str(path), "is no ordinary file and is left as it is.", "Give another name.")
        if not force:
            raise _stands(path, hint)


def _stands(path: Path, hint: str) -> BadInput:
    return BadInput.of(str(path), "is there already and is left as it is.", hint)
