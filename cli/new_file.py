"""Writes a new file whole, or says why it cannot."""

from __future__ import annotations

from pathlib import Path

from chemistry.errors import BadInput


def write_new(path: Path, text: str, *, force: bool = False, hint: str = "Give another name.") -> None:
    """Text to a file as it stands; BadInput where something is there already (unless forced) or the folder takes no file.

    Forced, it is written whole beside the old one first: a disk that fills up halfway leaves that as it was.
    hint: what to do where something is there already.
    """
    target = path.with_name(f"{path.name}.part") if force and path.name else path
    try:
        with target.open("w" if force else "x", encoding="utf-8", newline="") as file:
            file.write(text)
        if target != path:
            target.replace(path)
    except FileExistsError:
        raise BadInput.of(str(path), "is there already and is left as it is.", hint) from None
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise BadInput.of(str(path), f"cannot be written: {reason}.", "Give a folder you may write to.") from None
