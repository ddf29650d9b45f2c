"""Version of the package; a test holds the project file to it."""

from functools import cache
from hashlib import sha256
from pathlib import Path

__all__ = ["__version__", "mark"]

__version__ = "0.1.0"


@cache
def mark() -> str:
    """Tell this state of the program from any other: a hash of its own files."""
    found = sha256()
    for path in sorted(Path(__file__).parent.rglob("*")):
        if path.suffix in (".py", ".toml"):
            found.update(path.read_bytes())
    return found.hexdigest()[:16]
