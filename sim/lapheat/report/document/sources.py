"""Where the values come from that a case did not give."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ...case.alloys import Alloy, Property
from ...case.case import Case
from ...case.file import told_settings
from ...case.keys.schema import field_at
from ...joint.schedule import spelled_order

__all__ = ["Given", "alloy_sources", "givens_of"]

PRACTICE = "common practice, no source"
# Of defaults, by key or by table. `case/torch.py` and `case/keys/` say more.
SOURCES = {
    "title": "the file's name",
    "tube.length": "made from the diameter: common practice, no source",
    "lap.depth": "the flange's thickness",
    "fillet.leg": "made from the tube's wall: common practice, no source",
    "fillet.stirring": "the cautious end; published factors for molten pools go to 4",
    "arc.voltage": "load voltage by convention, IEC 60974-1 (clause from memory); of a length: "
    "Kraus 1987, Weld. J. 66, 353-s, slope with length from memory",
    "arc.efficiency": "Stenbacka, Choquet and Hurtig 2012, IIW XII-2070-12: 95 % of published "
    "values are 0.73 to 0.82; less with the conventional voltage, which reads high",
    "arc.spot": "estimated between remembered ends of Tsai and Eagar 1985, Metall. Trans. B 16, "
    "841",
    "arc.hold": "75 K above the filler's flow: common practice, no source",
    "limits.flow_margin": "low end of the furnace rule of AWS A5.8, from memory",
    "scatter": "named at each number in case/keys/scatter.py",
    "scale": "1: the alloys' own values",
    "numerics": "none needed: it changes the mesh alone",
}


@dataclass(frozen=True)
class Given:
    """A key of the resolved case: as given or by default, its value, meaning and source."""

    key: str
    given: str
    value: str
    meaning: str
    source: str


def givens_of(case: Case) -> Iterator[Given]:
    """Every key that has an effect, with the source of what the user did not give."""
    for row in told_settings(case):
        key, given = row.key, case.written.get(row.key, "default")
        value = row.shown(case.display)
        table, field = key.rpartition(".")[0], field_at(key)
        meaning = field.description if field is not None else ""
        default = given == "default"
        source = SOURCES.get(key, SOURCES.get(table, PRACTICE)) if default else "the case"
        if row.value is None:
            source = ""
        if key == "travel.order":
            value = spelled_order(case)
        yield Given(key, given, value, meaning or "", source)


def alloy_sources(alloy: Alloy) -> list[tuple[str, str]]:
    """Source of each number of an alloy: its name and where it is published."""
    told = list(alloy.sources.items())
    for name in ("conductivity", "specific_heat", "liquid_conductivity", "liquid_specific_heat",
                 "expansion"):  # fmt: skip
        given: Property | None = getattr(alloy, name)
        if given is None or name in alloy.sources:
            continue
        where = "; ".join(dict.fromkeys(p.source for p in given.pieces if p.source))
        told.append((name, where or "given by the user"))
    return told
