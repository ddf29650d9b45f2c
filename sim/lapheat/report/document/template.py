"""Pages from templates: what a user wrote stays text, and nothing is asked for from elsewhere."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from ...version import __version__
from ..sentences import CAUTIONS

__all__ = ["rendered"]

OUTLINE = "page.html.jinja"


def rendered(package: str, name: str, **values: Any) -> str:
    """Fill in a template that extends the outline of every page.

    Parameters
    ----------
    package : that the template lies in
    name : of the template
    **values : what the template names

    Returns
    -------
    html : one whole file
    """
    from jinja2 import DictLoader, Environment, StrictUndefined  # only a run needs it

    texts = {
        OUTLINE: files(__package__).joinpath(OUTLINE).read_text("utf-8"),
        name: files(package).joinpath(name).read_text("utf-8"),
    }
    environment = Environment(
        loader=DictLoader(texts),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    page = environment.get_template(name)
    return page.render(version=__version__, cautions=CAUTIONS, **values)
