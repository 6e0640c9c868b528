"""From a file to its bytes in UTF-8: encoding, line ends, and whether it is a text at all."""

from __future__ import annotations

import codecs
import os
import re
from pathlib import Path

from ..errors import FileError, InputError
from ..textfile import reason

__all__ = ["PathLike", "text_of"]

PathLike = str | os.PathLike[str]

_RIGHT = "a text file of rows and columns (CSV or TSV)"
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),  # its mark begins with that of UTF-16
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_ARCHIVES = {
    b"PK\x03\x04": "an archive or a spreadsheet",
    b"\x1f\x8b": "compressed",
    b"\xd0\xcf\x11\xe0": "a spreadsheet",
}
_CONTROL = re.compile(rb"[\x01-\x08\x0b\x0e-\x19\x1b-\x1f\x7f]")
_HEAD = 1 << 16


def text_of(path: PathLike, encoding: str | None = None) -> tuple[bytes, list[str]]:
    """Return the text of a file as UTF-8 without a mark, lines ending in LF or CR LF, and what was noticed.

    A mark at its beginning tells the encoding; without one it is UTF-8 where that fits, UTF-16 where every other byte
    is zero, else cp1252.

    Raises
    ------
    FileError
        No such file, a directory, not to be read, empty, or not a text.
    InputError
        `encoding` is not known, or `path` is not a path.
    """
    content = _bytes_of(path)
    where = os.fspath(path)
    notes: list[str] = []
    for magic, what in _ARCHIVES.items():
        if content.startswith(magic):
            raise FileError(f"is not a text file but {what}", where=where, expected=_RIGHT)
    data = _as_utf8(content, encoding, where, notes)
    whole = data.rstrip(b"\x00\x1a")
    if len(whole) < len(data) and whole:
        # what a file system leaves after a crash, and the end sign of old programs
        notes.append(f"{len(data) - len(whole)} zero bytes after the last line were left out")
    if b"\x00" in whole or len(_CONTROL.findall(whole[:_HEAD])) > 0.01 * min(len(whole), _HEAD):
        zeros = whole.count(b"\x00")
        if zeros > 0.001 * len(whole) or not zeros:
            raise FileError("is not a text file", where=where, expected=_RIGHT)
        whole = whole.replace(b"\x00", "\ufffd".encode())
    if not whole[:_HEAD].strip() and not whole.strip():
        raise FileError("is empty", where=where, expected="a header line and rows below it")
    head = whole[:_HEAD]
    if b"\r\r\n" in head:
        whole = whole.replace(b"\r\r\n", b"\n")
    elif b"\r" in head and b"\n" not in head:
        whole = whole.replace(b"\r", b"\n")
    return whole, notes


def _bytes_of(path: PathLike) -> bytes:
    try:
        where = os.fspath(path)
        file = Path(path)
    except TypeError as error:
        raise InputError(
            f"{path!r} is not a path", where="path", expected="the name of a file: 'before.csv'"
        ) from error
    try:
        if file.is_dir():
            raise FileError("is a directory", where=where, expected=_RIGHT)
        if file.exists() and not file.is_file():
            raise FileError("is not a regular file", where=where, expected=_RIGHT)
        return file.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, FileError):
            raise
        raise FileError(f"cannot be read: {reason(error)}", where=where, expected=_RIGHT) from error


def _as_utf8(content: bytes, encoding: str | None, where: str, notes: list[str]) -> bytes:
    if encoding is not None:
        try:
            return content.decode(encoding).removeprefix("\ufeff").encode()
        except LookupError as error:
            problem = f"{encoding!r} is not a known encoding"
            raise InputError(problem, where="encoding", expected="for example 'utf-8', 'utf-16' or 'cp1252'") from error
        except ValueError as error:  # UnicodeError, which is not always a UnicodeDecodeError
            raise FileError(f"is not a text in {encoding}", where=where, expected="its encoding, or none") from error
    for mark, name in _MARKS:
        if content.startswith(mark):
            return _encode(content.decode(name, errors="replace"), notes)
    if content.isascii() and b"\x00" not in content[:_HEAD]:
        return content
    even, odd = content[:_HEAD:2].count(0), content[1:_HEAD:2].count(0)
    half = len(content[:_HEAD]) // 2
    if max(even, odd) > 0.4 * half and min(even, odd) < 0.1 * half:
        return _encode(content.decode("utf-16-be" if even > odd else "utf-16-le", errors="replace"), notes)
    try:
        content.decode("utf-8")
        return content
    except UnicodeDecodeError:
        text = content.decode("utf-8", errors="replace")
        damaged = text.count("\ufffd")
        # a UTF-8 text with a damaged byte has more characters that fit than ones that do not
        if sum(map(len, re.findall("[\u0080-\ufffc]+", text))) > damaged:
            return _encode(text, notes)
    return _encode(content.decode("cp1252", errors="replace"), notes)


def _encode(text: str, notes: list[str]) -> bytes:
    if damaged := text.count("\ufffd"):
        notes.append(f"{damaged} bytes are not text in the encoding of the file")
    return text.encode("utf-8", errors="replace")
