"""The tables of an alloy of the user's own."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Discriminator, Field, Tag

from ..alloys import Alloy
from ..units import (
    CARBON,
    CONDUCTIVITY,
    DENSITY,
    EXPANSION,
    LATENT_HEAT,
    NUMBER,
    SPECIFIC_HEAT,
    STRESS,
    TEMPERATURE,
    Quantity,
)
from .fields import Of
from .table import Table, key

__all__ = ["AlloyTable", "ConductivityTable", "SpecificHeatTable", "alloy_of"]

CONDUCTIVITY_RANGE = Of(CONDUCTIVITY, "0.01 W/(m K)", "5000 W/(m K)")
SPECIFIC_HEAT_RANGE = Of(SPECIFIC_HEAT, "10 J/(kg K)", "20000 J/(kg K)")
TABLE_RANGE = Of(TEMPERATURE, "-200 degC", "3500 degC")
MELT_RANGE = Of(TEMPERATURE, "0 degC", "3500 degC")
STRENGTH_RANGE = Of(STRESS, "1 MPa", "3000 MPa")
TRANSFORM_RANGE = Of(TEMPERATURE, "500 degC", "1000 degC")


class PropertyTable(Table):
    """A property against temperature: straight lines between, held beyond."""

    temperature: Annotated[list[Annotated[Quantity, TABLE_RANGE]], Field(max_length=500)] = key(
        description="Rising temperatures, at least two.", examples=[["20 degC", "1000 degC"]]
    )


class ConductivityTable(PropertyTable):
    """Conductivity against temperature."""

    value: Annotated[list[Annotated[Quantity, CONDUCTIVITY_RANGE]], Field(max_length=500)] = key(
        description="Conductivity at each temperature.", examples=[["15 W/(m K)", "28 W/(m K)"]]
    )


class SpecificHeatTable(PropertyTable):
    """Specific heat against temperature."""

    value: Annotated[list[Annotated[Quantity, SPECIFIC_HEAT_RANGE]], Field(max_length=500)] = key(
        description="Specific heat at each temperature.",
        examples=[["480 J/(kg K)", "640 J/(kg K)"]],
    )


def _one_or_table(given: Any) -> str:
    return "table" if isinstance(given, dict | PropertyTable) else "one"


class AlloyTable(Table):
    """An alloy of the user's own."""

    density: Annotated[Quantity, Of(DENSITY, "10 kg/m^3", "30000 kg/m^3")] = key(
        description="Density.", examples=["7900 kg/m^3"]
    )
    conductivity: Annotated[
        Annotated[Annotated[Quantity, CONDUCTIVITY_RANGE], Tag("one")]
        | Annotated[ConductivityTable, Tag("table")],
        Discriminator(_one_or_table),
    ] = key(
        description="One conductivity, or { temperature = [...], value = [...] }.",
        examples=["15 W/(m K)"],
    )
    specific_heat: Annotated[
        Annotated[Annotated[Quantity, SPECIFIC_HEAT_RANGE], Tag("one")]
        | Annotated[SpecificHeatTable, Tag("table")],
        Discriminator(_one_or_table),
    ] = key(
        description="One specific heat, or { temperature = [...], value = [...] }.",
        examples=["500 J/(kg K)"],
    )
    solidus: Annotated[Quantity | None, MELT_RANGE] = key(
        None,
        description="Start of melting. An alloy without phase change leaves out solidus, "
        "liquidus and latent_heat.",
        examples=["1400 degC"],
    )
    liquidus: Annotated[Quantity | None, MELT_RANGE] = key(
        None, description="End of melting.", examples=["1450 degC"]
    )
    latent_heat: Annotated[Quantity | None, Of(LATENT_HEAT, "0 kJ/kg", "5000 kJ/kg")] = key(
        None, description="Heat of fusion.", examples=["270 kJ/kg"]
    )
    emissivity: Annotated[Quantity, Of(NUMBER, low=0, high=1)] = key(
        description="Total emissivity.", examples=[0.5]
    )
    expansion: Annotated[Quantity | None, Of(EXPANSION, "-10 um/(m K)", "100 um/(m K)")] = key(
        None,
        description="Mean coefficient of linear expansion from 20 degC to brazing heat. Left "
        "out: the lap's clearance stays as it is cold.",
        examples=["18 um/(m K)"],
    )
    yield_strength: Annotated[Quantity | None, STRENGTH_RANGE] = key(
        None,
        description="Yield strength in tension when cold, as left by brazing heat: annealed. "
        "Needed of the tube; left out: its strength is not told.",
        examples=["170 MPa", "25 ksi"],
    )
    shear_strength: Annotated[Quantity | None, STRENGTH_RANGE] = key(
        None,
        description="Shear strength of the deposit when cold. Needed of the filler; left out: the "
        "joint's strength is not told.",
        examples=["199 MPa"],
    )
    carbon: Annotated[Quantity | None, Of(CARBON, "0 %", "0.2 %")] = key(
        None,
        description="Carbon of an austenitic stainless steel, by mass. Left out: no sensitisation.",
        examples=["0.05 %"],
    )
    a1: Annotated[Quantity | None, TRANSFORM_RANGE] = key(
        None,
        description="Steel begins to turn to austenite on heating. Left out: no time above it.",
        examples=["725 degC"],
    )
    a3: Annotated[Quantity | None, TRANSFORM_RANGE] = key(
        None,
        description="Steel is all austenite from here. Left out: no cooling time of a flange, and "
        "liquid copper counts from the filler's solidus.",
        examples=["880 degC"],
    )


def alloy_of(name: str, table: AlloyTable) -> Alloy:
    """Alloy from a user's table.

    Raises
    ------
    ValueError
        The numbers do not make an alloy.
    """

    def curve(given: Any) -> float | tuple[list[float], list[float]]:
        if isinstance(given, ConductivityTable | SpecificHeatTable):
            return list(map(float, given.temperature)), list(map(float, given.value))
        return float(given)

    def number(given: Quantity | None) -> float | None:
        return None if given is None else float(given)

    return Alloy.tabulated(
        name,
        density=float(table.density),
        conductivity=curve(table.conductivity),
        specific_heat=curve(table.specific_heat),
        emissivity=float(table.emissivity),
        solidus=number(table.solidus),
        liquidus=number(table.liquidus),
        latent_heat=number(table.latent_heat),
        expansion=number(table.expansion),
        yield_strength=number(table.yield_strength),
        shear_strength=number(table.shear_strength),
        carbon=number(table.carbon),
        a1=number(table.a1),
        a3=number(table.a3),
    )
