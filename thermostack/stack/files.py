"""Stacks and their mods in files: TOML in the words of the parts."""

from __future__ import annotations

import os
import warnings
from pathlib import Path

from ..errors import FileError, ThermostackWarning
from ..textfile import reason, write_whole
from .package import Mount, Package
from .reading import from_toml, held_from_toml, part_from_toml
from .stack import Stack
from .writing import to_toml

__all__ = ["from_toml", "read_mount", "read_stack", "read_variants", "to_toml", "write_stack"]

PathLike = str | os.PathLike[str]


def read_stack(path: PathLike) -> Stack:
    """Return the part that a file describes, as it is described; its mods are not looked at.

    Parameters
    ----------
    path : str or path
        A file in TOML, such as `write_stack` writes.

    Raises
    ------
    FileError
        Names file, line, part, field and a right value.
    """
    return part_from_toml(_text_of(path), os.fspath(path))


def read_variants(path: PathLike) -> tuple[Stack, ...]:
    """Return the part that a file describes and after it each of its mods applied, under the name of the mod.

    Parameters
    ----------
    path : str or path
        A file in TOML, such as `write_stack` writes. A mod starts from the part as described or, with ``from``, from
        an earlier mod; its verbs are executed in the order in which they stand.

    Raises
    ------
    FileError
        Names file, line, part or mod, field and a right value.
    """
    return from_toml(_text_of(path), os.fspath(path))


def read_mount(path: PathLike) -> tuple[Package | None, Mount | None]:
    """Return the heights of the package and the mount that a file describes beside its part, for `mount_check`.

    Parameters
    ----------
    path : str or path
        A file in TOML with a table ``[package]``, and one ``[mount]``; None stands for what it does not have.

    Raises
    ------
    FileError
        Names file, line, field and a right value.
    """
    return held_from_toml(_text_of(path), os.fspath(path))


def write_stack(
    path: PathLike, stack: Stack, *variants: Stack, package: Package | None = None, mount: Mount | None = None
) -> None:
    """Write a part and its mods to a file, which is replaced as a whole or, on any error, left as it was.

    Parameters
    ----------
    path : str or path
        Where to write.
    stack : Stack
        Written as it is described, with the making of each joint (``mount``); mods that led to it are not kept, nor
        what a calibration taught, of which it warns.
    *variants : Stack
        Reached from `stack`, or from a variant before it, by mods: each becomes a ``[[mod]]`` under its label.
    package, mount : Package, Mount, optional
        Heights and mount, which go with the part.

    Raises
    ------
    InputError
        If a stack cannot be written; see `to_toml`.
    FileError
        If the file cannot.
    """
    described = [each.uncalibrated for each in (stack, *variants)]
    content = to_toml(*described, package=package, mount=mount)
    if any(each.learned is not None for each in (stack, *variants)):
        warnings.warn(
            "the file holds the part as it was described; what its calibration taught is not in it: keep the readings, "
            "and calibrate again",
            ThermostackWarning,
            stacklevel=2,
        )
    write_whole(path, content, overwrite=True)


def _text_of(path: PathLike) -> str:
    where = os.fspath(path)
    try:
        content = Path(path).read_bytes()
    except (OSError, ValueError) as error:
        raise FileError(f"cannot be read: {reason(error)}", where=where, expected="a file in TOML") from error
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise FileError(f"byte {content[error.start]:#04x} is not text in UTF-8", where=f"{where}, line {line}",
                        expected="a text file in TOML, saved as UTF-8") from error  # fmt: skip
