"""The table "How true is it", `tests/errors.md`, from the errors that the tests wrote down.

``python -m pytest tests --record-errors`` writes ``tests/exact/errors.json``;
``python tests/how_true.py`` makes the table of it. A test holds the two together, and every check
holds what it finds against what is kept.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

HERE = Path(__file__).parent
PAGE = HERE / "errors.md"
ERRORS = HERE / "exact" / "errors.json"
HEAD = """# Every check: source, error found, bound

Made by `python tests/how_true.py` from what `python -m pytest tests --record-errors` found.
Every later run of a check is held to its bound and to what is written here.

"""

# what each family of checks tests, by the first words of its checks
TESTS = {
    "arc": "the arc's flux on faces",
    "bar with driven end": "conduction in time, fixed temperatures",
    "contact without": "contact conductance, its limit",
    "chill": "the chill as one temperature",
    "endless contact": "contact conductance, its limit",
    "everything at once": "whole revolved joint, k(T), c(T), film, radiation, lap (manufactured)",
    "fin with tip loss": "film on thin walls",
    "halving the step": "the step in time",
    "heat balance": "the heat ledger",
    "heat stored": "the heat ledger",
    "hot clearance": "how tube and bore grow",
    "k and c growing alike": "k(T) and c(T), exact nonlinear case",
    "lapped sheets": "the lap's conductance",
    "line source": "moving source, far field, films",
    "long rod": "curvature, film",
    "mean while": "the heat ledger",
    "melting": "latent heat",
    "moving Gaussian": "moving source",
    "moving arc": "the joint under a moving arc, fillet and lap, with the program's own steps",
    "oil pipe": "film, published worked example",
    "plate of finite": "moving source through a wall, arc on and off",
    "plate with convection": "film in two dimensions",
    "pool peak": "measured pools (conduction alone reads high)",
    "radiating": "radiation",
    "ring of heat": "the joint's model of tube, plate, fillet and lap, on other people's meshes",
    "ring source": "source round a ring",
    "sheet cooling": "radiation",
    "sheet heated": "heating of an edge in time",
    "similar tubes": "scaling law",
    "square column": "conduction in two dimensions",
    "standing spot": "the arc standing still",
    "start angle": "symmetry of the ring",
    "superposition": "linearity",
    "t8/5": "cooling behind a bead",
    "test bead": "a whole case file: segments, pauses, wrap-around",
    "thick bodies": "contact conductance",
    "thin tube": "tube, segments, pauses",
    "travel mirrored": "symmetry of travel",
    "travelling source": "moving source with k(T), c(T), latent heat",
    "tube of real wall": "tube, segments, pauses, gradient through the wall",
    "tube on flange": "tube and flange sharing heat",
    "twice the power": "linearity",
    "whole case on a wide tube": "a whole case file on a real wall, the program's own steps",
    "whole case through FiPy": "the march: the same mesh, another method and other people's terms",
    "wall on sheet": "contact conductance through walls",
    "wall with convection": "film in time",
}


def row(entry: Mapping[str, str | float]) -> str:
    """One line of the table.

    Raises
    ------
    KeyError
        `TESTS` does not say what the check tests.
    """
    check = str(entry["check"])
    heads = [head for head in TESTS if check.startswith(head)]
    if not heads:
        raise KeyError(f"say in TESTS of {Path(__file__).name} what this tests: {check}")
    unit = str(entry["unit"])
    found, bound = f"{entry['error']:.2g} {unit}", f"{entry['bound']:g} {unit}"
    if unit == "order":
        found, bound = f"2 within {entry['error']:.2g}", f"2 within {entry['bound']:g}"
    return f"| {check} | {entry['source']} | {TESTS[heads[0]]} | {found} | {bound} |"


def table() -> str:
    """The whole table in Markdown."""
    entries = json.loads(ERRORS.read_text(encoding="utf-8"))
    head = [
        "| check | source | what it tests | error found | bound |",
        "| --- | --- | --- | --- | --- |",
    ]
    return "\n".join(head + [row(entry) for entry in entries])


def page() -> str:
    """The page whole."""
    return f"{HEAD}{table()}\n"


def main() -> None:
    """Write the page."""
    PAGE.write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
