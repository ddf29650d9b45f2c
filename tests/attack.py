"""Spoilt files by the thousand: ``python tests/attack.py [COUNT [SEED]]`` with `sim` and `tests`.

COUNT case texts, a tenth as many files of measurements and of kept rows. Each must be read or
refused, with no other error, in less than 10 s; memory and the longest time are told. It asserts
what it can and prints a line a kind for DEVELOPERS.
"""

from __future__ import annotations

import random
import resource
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

from lapheat.case.faults import CaseError
from lapheat.case.file import read_case_text
from lapheat.study.calibration.measured import read_measured
from lapheat.study.runs.store import RowFile
from support.case_texts import ALLOY, BASE, BEAD, FIXTURE, PROBE, TACK

SPOILERS = (
    *(
        "[",
        "]",
        "{",
        "}",
        '"',
        "'",
        '"""',
        "=",
        ".",
        ",",
        "#",
        "\n",
        "\\",
        "\0",
        "\x1b[2J",
        "\u202e",
    ),
    *(
        "^9",
        "**9",
        "²",
        "squared",
        "cubic ",
        "(",
        ")",
        "/",
        "*",
        "-",
        "e999",
        "1e308",
        "nan",
        "inf",
    ),
    *(
        "9" * 400,
        "a." * 30,
        "[" * 60,
        "_",
        "\u0663",
        " mm",
        " degC",
        "true",
        "1979-05-27",
        "\ufeff",
    ),
)
CASES = (BASE + FIXTURE + TACK, BASE + PROBE + ALLOY, BEAD + PROBE, BEAD, BASE)
CSVS = (
    "time_s,toe_C\n" + "".join(f"{n},{20 + n}\n" for n in range(40)),
    "current_A,melted,wet\n60,no,yes\n70,yes,yes\n",
    "current_A,speed [mm/s],tint_bore_width [mm],crayon_outside_width [mm] at 343 degC\n40,2,3,4\n",
)


def spoilt(text: str, rng: random.Random) -> str:
    """Text with a few pieces put in, left out, doubled, moved or taken from elsewhere."""
    for _ in range(rng.randint(1, 3)):
        at, size = rng.randrange(len(text) + 1), rng.choice((0, 1, 1, 2, 5, 30))
        piece = text[at : at + size]
        put = rng.choice(
            (
                "",
                rng.choice(SPOILERS),
                piece * rng.choice((2, 2, 50)),
                chr(rng.randrange(1, 0xD800)),
            )
        )
        text = text[:at] + put + text[at + (size if rng.random() < 0.5 else 0) :]
    return text


def attack(what: str, count: int, one: Callable[[], None]) -> None:
    """Try `count` times; print what became of it."""
    ends: Counter[str] = Counter()
    longest = 0.0
    for _ in range(count):
        start, told = perf_counter(), ""
        try:
            one()
            ends["read"] += 1
        except CaseError as error:
            told, ends["refused"] = str(error), ends["refused"] + 1
        assert not set(told) & set("\x1b\x9b\x07\u202e")
        longest = max(longest, perf_counter() - start)
        assert longest < 10.0
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    how = f"{ends['read']} read, {ends['refused']} refused"
    print(f"| {count} {what} | {how}; at most {longest:.2f} s, {memory:.0f} MB |", flush=True)


def main(count: int, seed: int) -> None:
    """Attack all three readers."""
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "file"

        def case() -> None:
            read_case_text(spoilt(rng.choice(CASES), rng), "spoilt.toml")

        def measured() -> None:
            file.write_text(spoilt(rng.choice(CSVS), rng), "utf-8")
            read_measured(file, ("toe",))

        with RowFile(file) as store:
            for n in range(20):
                store.add(f"row {n}", {"margin_K": 0.1 * n, "told": "é", "failed": None})
        rows = file.read_text("utf-8")
        whole = RowFile(None)
        whole.take(file)

        def kept() -> None:
            file.write_text(spoilt(rows, rng), "utf-8")
            with RowFile(file, resume=True) as store:
                assert store.rows.items() <= whole.rows.items()  # nothing is silently different

        attack("case texts", count, case)
        attack("files of measurements", count // 10, measured)
        attack("files of kept rows", count // 10, kept)


if __name__ == "__main__":
    main(*map(int, [*sys.argv[1:], *("100000", "17")[len(sys.argv) - 1 :]]))
