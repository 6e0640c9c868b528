"""Damage logs in a hundred thousand ways: each gives a log or an error of ours, and nothing is written.

    python tests/studies/fuzz_logs.py [mutations] [seed]

writes ``results/fuzz_logs.json``. A share of it runs in ``tests/property/test_read_log_fuzz.py``.
"""

from __future__ import annotations

import collections
import json
import os
import random
import sys
import tempfile
import time
import warnings
from functools import cache
from pathlib import Path

import numpy as np

from thermostack.errors import InputError
from thermostack.measured.read import read_log

HERE = Path(__file__).parent
LOGS = HERE.parent / "data" / "logs"
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1", "utf-32")
PIECES = (
    *(b"N/A", b"-", b"--", b"nan", b"inf", b"1e999", b"-1e30", b"0x10", b"1_0", b"1,234", b"1.234,5", b"True", b"yes"),
    *(b'"', b'""', b"\x00", b"\r", b"\r\n", b"\n\n", b",", b";", b"\t", b"|", b",,,,,", b"#", b" ", b"\x1a"),
    *(b"99:99:99", b"24:00:00", b"00:00:00", b"31.02.2026", b"29/02/2025", b"0001-01-01", b"9999-12-31", b"+99:99"),
    *(b"\xff\xfe", b"\xc2\xb0", b"\xe2\x80\xaf", b"\xe2\x88\x92", b"\xef\xbb\xbf", b"1 W", b"[V]", b"Average"),
    *(b"9" * 25, b"9" * 400),
)


@cache
def originals():
    """Return content, mapping and options of each invented log."""
    logs = json.loads((LOGS / "mappings.json").read_text(encoding="utf-8"))
    return {
        name: ((LOGS / name).read_bytes(), _tupled(entry["columns"]), entry.get("options", {}))
        for name, entry in logs.items()
    }


def _tupled(entry):
    """Return a mapping in which {"column": ..., "unit": ...} is a pair again; JSON has none."""
    if isinstance(entry, dict):
        if set(entry) == {"column", "unit"}:
            return entry["column"], entry["unit"]
        return {key: _tupled(value) for key, value in entry.items()}
    return [_tupled(each) for each in entry] if isinstance(entry, list) else entry


def mutated(logs, number):
    """Return one damaged log with its mapping and options, by the number of the mutation."""
    chance = random.Random(number)
    content, columns, options = logs[chance.choice(sorted(logs))]
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        content = chance.choice(DAMAGES)(content, chance)
    options = dict(options)
    for name, choices in (
        ("unreadable", ("leave out",)), ("duplicates", ("first",)), ("decimal", (",", ".")), ("section", (1, 2)),
        ("delimiter", (";", ",")), ("dates", ("day first", "month first")), ("date", ("2026-03-01",)),
        ("missing", (["OL"], ["0"])), ("encoding", ("utf-8", "utf-16", "cp1252")),
    ):  # fmt: skip
        if chance.random() < 0.08:
            options[name] = chance.choice(choices)
    return content, columns, options


def _place(content, chance):
    return chance.randrange(len(content) + 1)


def flip(content, chance):
    data = bytearray(content)
    for _ in range(chance.choice((1, 2, 10))):
        if data:
            data[chance.randrange(len(data))] = chance.randrange(256)
    return bytes(data)


def cut(content, chance):
    return content[: _place(content, chance)] if chance.random() < 0.5 else content[_place(content, chance) :]


def remove(content, chance):
    start = _place(content, chance)
    return content[:start] + content[start + chance.choice((1, 3, 20, 200)) :]


def insert(content, chance):
    start = _place(content, chance)
    return content[:start] + chance.choice(PIECES) + content[start:]


def overwrite(content, chance):
    start = _place(content, chance)
    piece = chance.choice(PIECES)
    return content[:start] + piece + content[start + len(piece) :]


def in_lines(content, chance):
    lines = content.split(b"\n")
    n, m = chance.randrange(len(lines)), chance.randrange(len(lines))
    match chance.randrange(5):
        case 0:
            lines.insert(m, lines[n])
        case 1:
            del lines[n]
        case 2:
            lines[n], lines[m] = lines[m], lines[n]
        case 3:
            lines[n:n] = lines[min(n, m) : max(n, m)]
        case _:
            lines[n] = lines[n][: _place(lines[n], chance)]
    return b"\n".join(lines)


def delimiter(content, chance):
    old, new = chance.sample((b",", b";", b"\t", b"|", b"."), 2)
    return content.replace(old, new) if chance.random() < 0.5 else content.replace(old, new, chance.randrange(1, 9))


def encode(content, chance):
    text = content.decode(chance.choice(("utf-8", "cp1252")), errors="replace")
    return text.encode(chance.choice(ENCODINGS), errors="replace")


def line_ends(content, chance):
    return content.replace(b"\r\n", b"\n").replace(b"\n", chance.choice((b"\n", b"\r\n", b"\r", b"\r\r\n", b"\n\n")))


DAMAGES = (flip, cut, remove, insert, insert, overwrite, overwrite, in_lines, in_lines, delimiter, encode, line_ends)


def outcome(path, columns, options):
    """Return what reading gives, ("Log", "") or the kind of error and its message; check the log."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            log = read_log(path, columns, **options)
    except InputError as error:
        return type(error).__name__, str(error)
    assert log.time[0] == 0.0
    assert np.all(np.diff(log.time) > 0.0)
    assert set(log.values) == set(log.roles)
    for name, value in log.values.items():
        assert value.dtype == np.float64
        assert value.shape == log.time.shape, name
        assert not np.any(np.isinf(value)), name
    return "Log", ""


def main(mutations=100_000, seed=5):
    logs = originals()
    counts = collections.Counter()
    began = time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        for number in range(mutations):
            content, columns, options = mutated(logs, seed * 10_000_019 + number)
            path.write_bytes(content)
            try:
                kind, _ = outcome(path, columns, options)
            except Exception as error:
                kind = f"other: {type(error).__name__}"
                print(number, repr(error), file=sys.stderr)
            written = sorted(os.listdir(folder)) != ["log.csv"] or path.read_bytes() != content
            counts["written"] += written
            counts[kind] += 1
    result = {
        "what": "damaged logs read by read_log; 'other': an exception that is not ours, 'written': a changed file",
        "mutations": mutations,
        "seed": seed,
        "outcomes": dict(sorted(counts.items())),
        "seconds of processor time": round(time.process_time() - began),
    }
    (HERE / "results" / "fuzz_logs.json").write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    print(result)
    return sum(n for kind, n in counts.items() if kind.startswith("other")) + counts["written"]


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])) > 0)
