"""What a filled-in form means: its faults by field, every default, and the joint to draw."""

from __future__ import annotations

from collections.abc import Mapping
from math import degrees
from typing import Any

from ..case.case import Case
from ..case.faults import CaseError, Fault, printable
from ..case.file import case_to_toml, read_case_text
from ..joint.schedule import schedule_of
from ..march.expected import expected_of
from .form import raw_of, toml_of, values_of

__all__ = ["FILE", "case_text_of", "checked", "told_fault"]

FILE = "case.toml"  # name of every case of the page, in messages and in its folder
MM = 1e3


def case_text_of(values: Mapping[str, str], more: str) -> str:
    """Text of the case file that a form means.

    Raises
    ------
    CaseError
        A field does not exist, or what stands beside them is not TOML.
    """
    return toml_of(raw_of(values, more))


def checked(values: Mapping[str, str], more: str) -> dict[str, Any]:
    """Read a form as `read_case` reads its file: faults, or what there is to show of it."""
    try:
        case = read_case_text(case_text_of(values, more), FILE)
        expected = expected_of(case)
    except CaseError as error:
        return {"faults": [told_fault(fault) for fault in error.faults]}
    return {
        "faults": [],
        "defaults": values_of(case_to_toml(case))[0],
        "assumed": [printable(told) for told in case.assumed],
        "cells": expected.cells,
        "steps": expected.steps,
        "segments": expected.segments,
        "total_s": expected.total,
        "drawing": drawing_of(case, expected.layers),
    }


def told_fault(fault: Fault) -> dict[str, str]:
    """Fault in the words of the command line."""
    told = {
        "key": fault.key,
        "given": fault.given,
        "allowed": fault.allowed,
        "hint": fault.hint,
    }
    return {name: printable(text) for name, text in told.items()}


def drawing_of(case: Case, layers: int) -> dict[str, Any]:
    """Sizes [mm] and angles [deg] of what the page draws."""
    tube, arc, joint = case.tube, case.arc, case.brazed
    schedule = schedule_of(case, layers)
    told: dict[str, Any] = {
        "joint": case.joint,
        "unit": case.display.length,
        "radius": MM * tube.radius,
        "wall": MM * tube.wall,
        "length": MM * tube.length,
        "aim": MM * arc.aim,
        "spot": MM * arc.spot,
        "work_angle": degrees(arc.work_angle),
        "count": schedule.count,
        "segments": [
            {
                "number": segment.number,
                "from": round(degrees(segment.lay_from), 3),
                "to": round(degrees(segment.lay_to), 3),
            }
            for segment in schedule.segments
        ],
        "tacks": [degrees(tack.angle) for tack in case.tacks],
    }
    if joint is not None:
        told |= {
            "thickness": MM * joint.flange.thickness,
            "flange_radius": 0.5 * MM * joint.flange.outside_diameter,
            "depth": MM * joint.lap.depth,
            "clearance": MM * joint.lap.clearance,
            "leg": MM * joint.fillet.leg,
        }
    chill = case.fixture.chill
    if chill is not None:
        told["chill"] = {"length": MM * chill.length, "wall": MM * chill.wall}
    return told
