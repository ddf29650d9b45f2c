"""Sentences that more than one report says."""

from __future__ import annotations

__all__ = ["CAUTIONS", "CAUTIONS_IN_SHORT", "UNCERTAINTY"]

CAUTIONS = (
    "These numbers plan trial pieces. Local codes and a qualified person decide about a joint.",
    "Not for pressure, fuel, breathing gas, lifting, vehicles, aircraft, or anything whose "
    "failure could hurt someone.",
    "No hot work on what held fuel, solvent or unknown contents until it is cleaned, vented and "
    "tested; vent every closed space.",
    "Fume of copper, manganese and chromium(VI): extract it at the joint. Strip zinc, cadmium "
    "and plating first. No chlorinated cleaner near an arc.",
    "Arc light burns eyes and skin in seconds: filter, covered skin, screens.",
    "Argon gathers in low and closed places and suffocates without warning.",
    "Grey metal can be at 500 degC: mark it, wait, use tongs.",
    "Fire watch: at least 30 minutes after the last arc.",
    "Cracks from liquid copper and sensitised bands are invisible: section trial pieces or use "
    "dye penetrant; leak-test with liquid, not gas.",
)
# On a terminal, so that the answer is what one reads; all is in the report and on the sheet.
CAUTIONS_IN_SHORT = (
    CAUTIONS[0],
    CAUTIONS[1],
    "No hot work on what held fuel, solvent or unknown contents until cleaned, vented and tested.",
    "Fume: extract it. Strip zinc, cadmium and plating. No chlorinated cleaner near an arc.",
    "Arc light burns, argon suffocates, grey metal is hot. Fire watch: 30 minutes after the arc.",
    "Cracks are invisible: section trial pieces or use dye penetrant. The README has more.",
)

UNCERTAINTY = (
    "Uncertainty: grid convergence index of the fine mesh, factor 1.25 where the order is 0.9 to "
    "2.2 (a joint's margins: 0.57 to 2.2), else 3, and what half steps change. It is not that of "
    "the model or of its inputs."
)
