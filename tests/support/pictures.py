"""Pictures held to kept ones, a quarter as large, so that a figure that changes is looked at.

Letters differ between releases of matplotlib, and move what stands beside them. So a kept picture
holds the release it was drawn by, and others are held to what a lost panel would exceed.
"""

from __future__ import annotations

from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.image import imread, imsave
from numpy.typing import NDArray
from PIL import Image

SMALLER, TILE = 4, 8  # [pixels] of the picture to one that is kept; of those to a tile
SAME, OTHER = 0.003, 0.3  # of the range from black to white, in the mean over a tile
RELEASE = "matplotlib " + ".".join(matplotlib.__version__.split(".")[:2])

Pixels = NDArray[np.uint8]


def small(picture: Path) -> Pixels:
    """Picture at a quarter of its size."""
    return np.rint(255.0 * blocks(imread(picture)[..., :3], SMALLER)).astype(np.uint8)


def blocks(picture: NDArray[np.float32], size: int) -> NDArray[np.float32]:
    """Mean over blocks of so many pixels; what is left over at the ends is cut off."""
    rows, columns = (n // size for n in picture.shape[:2])
    cut = picture[: rows * size, : columns * size]
    return cut.reshape(rows, size, columns, size, -1).mean(axis=(1, 3))


def apart(one: Pixels, other: Pixels) -> float:
    """Largest mean difference in a tile, 1 from black to white; infinite if sizes differ."""
    if one.shape != other.shape:
        return float("inf")
    return float(blocks(np.abs(one / 255.0 - other / 255.0), TILE).max())


def hold(drawn: Path, kept: Path, rewrite: bool) -> None:
    """Fail if a picture differs from the kept one by more than the tolerance."""
    found = small(drawn)
    if rewrite:
        kept.parent.mkdir(exist_ok=True)
        imsave(kept, found, metadata={"Software": RELEASE})
    with Image.open(kept) as image:
        release = image.info["Software"]
    allowed = SAME if release == RELEASE else OTHER
    off = apart(found, np.rint(255.0 * imread(kept)[..., :3]).astype(np.uint8))
    assert off <= allowed, (
        f"{drawn} differs from {kept} by {off:.4f} of the range, {allowed} allowed: look at both; "
        "if it is wanted, --rewrite-pictures"
    )
