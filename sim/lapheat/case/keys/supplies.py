"""`[supplies]`: the torch gas."""

from __future__ import annotations

from typing import Annotated

from ..case import Supplies
from ..units import FLOW, TIME, Quantity
from .fields import Of
from .table import Table, key

__all__ = ["SuppliesTable", "supplies_of"]

# A maker's sheet has 15 ft^3/h (7 L/min) for 1/16 in silicon bronze rod, a handbook 5 L/min for 1.6
# mm stainless. The defaults are common practice, no source.
FLOW_RANGE = Of(FLOW, "1 L/min", "60 L/min")
TIME_RANGE = Of(TIME, "0 s", "120 s")


class SuppliesTable(Table):
    """The torch gas. Nothing here changes a run."""

    argon_flow: Annotated[Quantity, FLOW_RANGE] = key(
        "8 L/min",
        description="Argon through the torch, without a purge of the bore.",
        examples=["8 L/min", "15 ft^3/h"],
    )
    pre_flow: Annotated[Quantity, TIME_RANGE] = key(
        "0.5 s", description="Gas before each strike of the arc.", examples=["0.5 s"]
    )
    post_flow: Annotated[Quantity, TIME_RANGE] = key(
        "8 s",
        description="Gas after each time the arc goes out; it runs on through a pause that is "
        "shorter than post_flow and pre_flow together.",
        examples=["8 s"],
    )


def supplies_of(table: SuppliesTable) -> Supplies:
    """Value of the table."""
    return Supplies(float(table.argon_flow), float(table.pre_flow), float(table.post_flow))
