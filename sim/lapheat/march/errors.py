"""What a march raises when it fails."""

__all__ = ["MarchError"]


class MarchError(Exception):
    """The computation failed; the message says where and at what time."""
