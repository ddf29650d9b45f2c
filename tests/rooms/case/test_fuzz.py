"""Whatever stands in a case file is read, or refused as a `CaseError`: nothing else escapes."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapheat.case.case import Case
from lapheat.case.faults import shown
from lapheat.case.file import CaseError, case_to_toml, read_case_text
from lapheat.case.keys.schema import every_key
from support.case_texts import ALLOY, BASE, BEAD, FIXTURE, PROBE, TACK

KEYS = [key for key in every_key() if not key.startswith(("probe.", "tack."))]
ALLOY_KEYS = ["density", "conductivity", "specific_heat", "solidus", "latent_heat", "emissivity"]
ALLOY_KEYS += ["expansion", "carbon", "a1", "a3", "yield_strength", "shear_strength"]
TABLES = ["tube", "flange", "lap", "fillet", "arc", "travel", "fixture"]
TABLES += ["probe", "tack", "alloys", "alloys.mine"]

QUANTITIES = ["1 mm", "5 in", "20 degC", "-1 s", "3 A", "0 K", "15 W/(m K)", "1 J/kg", "nan mm", ""]
VALUES = st.recursive(
    st.one_of(
        st.sampled_from(QUANTITIES),
        st.text(max_size=8),
        st.integers(),
        st.floats(),
        st.booleans(),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(
            st.sampled_from(["temperature", "value", "name", "on", "angle", "length", "x y"]),
            inner,
            max_size=3,
        ),
    ),
    max_leaves=8,
)
PLACES = st.sampled_from([*KEYS, *TABLES, *(f"alloys.mine.{key}" for key in ALLOY_KEYS), "tube.x"])
BASES = st.sampled_from(
    [BASE + FIXTURE + TACK, BASE, BEAD, BASE + PROBE + ALLOY, BEAD + PROBE, ALLOY, ""]
)


def toml(value: Any) -> str:
    if isinstance(value, dict):
        pairs = ", ".join(f"{shown(key)} = {toml(item)}" for key, item in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, list):
        return f"[{', '.join(map(toml, value))}]"
    return shown(value)


def read_or_refuse(text: str, *overrides: str) -> Case | None:
    try:
        return read_case_text(text, "fuzz.toml", overrides)
    except CaseError as error:
        refused = error
    for fault in refused.faults:
        assert "" not in (fault.file, fault.key, fault.given, fault.allowed)
    str(refused).encode("utf-8")
    assert refused.faults
    return None


@settings(deadline=None)  # the first quantity read loads pint
@given(BASES, st.lists(st.tuples(PLACES, VALUES), max_size=3))
def test_any_value_anywhere(base: str, changes: list[tuple[str, Any]]) -> None:
    case = read_or_refuse(base, *(f"{key}={toml(value)}" for key, value in changes))
    if case is not None:
        assert read_case_text(case_to_toml(case), "again") == case


@settings(deadline=None)
@given(st.text(alphabet="[]{}=\"'#.,\n tubewalmin0123", max_size=60))
def test_any_text(text: str) -> None:
    read_or_refuse(text)
    read_or_refuse(BASE + text)


@settings(deadline=None)
@given(st.text(max_size=30))
def test_any_override(text: str) -> None:
    read_or_refuse(BASE, text)
    read_or_refuse(BASE, f"title={text}", f"tube.alloy={text}", f"travel.order={text}")


@pytest.mark.parametrize("key", [*KEYS, *TABLES])
@pytest.mark.parametrize("value", ["[]", "{}", "3", "true", "'3 mm'", "[[1]]", "nan", "1e400"])
def test_each_key_with_a_value_of_another_kind(key: str, value: str) -> None:
    read_or_refuse(BASE + PROBE + ALLOY, f"{key}={value}")
    read_or_refuse(BASE + FIXTURE + TACK, f"{key}={value}")
