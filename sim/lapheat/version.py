"""Version of the package; a test holds the project file to it."""

__all__ = ["__version__"]

__version__ = "0.1.0"
