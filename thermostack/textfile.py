"""Write a text file as a whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from pathlib import Path

from .errors import FileError

__all__ = ["reason", "write_whole"]


def write_whole(path: str | os.PathLike[str], text: str, *, overwrite: bool = False) -> Path:
    """Write a file beside its place, then put it there: whoever looks finds the old file, or the new one, or none.

    Parameters
    ----------
    path : str or path
    text : str
        Written as UTF-8.
    overwrite : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    Path

    Raises
    ------
    FileError
        There is a file already, or it cannot be written; what was there is as it was.
    """
    where = os.fspath(path)
    try:
        target = Path(os.path.realpath(path))  # a link stays, and what it leads to is replaced
        beside = target.with_name(f".{target.name}.{secrets.token_hex(4)}.tmp")
        try:
            with open(beside, "xb") as file:
                file.write(text.encode("utf-8"))
                file.flush()
                os.fsync(file.fileno())
            if overwrite:
                if target.is_file():
                    shutil.copymode(target, beside)
                os.replace(beside, target)
            else:
                _put(beside, target)
        finally:
            with contextlib.suppress(OSError):
                beside.unlink(missing_ok=True)
    except FileExistsError as error:
        raise FileError("there is a file already", where=where, expected="another name, or overwrite=True") from error
    except (OSError, ValueError) as error:
        raise FileError(
            f"cannot be written: {reason(error)}",
            where=where,
            expected="a file in a folder that exists and may be written to",
        ) from error
    return target


def reason(error: Exception) -> str:
    """Return why a file cannot be read or written, in words."""
    return (error.strerror if isinstance(error, OSError) and error.strerror else str(error)).lower()


def _put(beside: Path, target: Path) -> None:
    """Give a file its name where no file has it yet; also one that came meanwhile is left as it is."""
    try:
        os.link(beside, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without links: the look and the move are two steps there
        if target.exists():
            raise FileExistsError from None
        os.replace(beside, target)
