"""What a march raises when it fails."""

from ..history.records import Unfinished

__all__ = ["MarchError"]


class MarchError(Exception):
    """The computation failed; the message says where and at what time.

    Attributes
    ----------
    so_far : what was computed before, where a march had begun
    """

    so_far: Unfinished | None = None
