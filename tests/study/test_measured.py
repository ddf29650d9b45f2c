"""Files of measurements: what they read as, and that each fault is told where it stands."""

from __future__ import annotations

from pathlib import Path
from time import process_time

import numpy as np
import pytest

from lapheat.case.file import CaseError, Fault
from lapheat.study.calibration.measured import Readings, TrialPieces, read_measured

PROBES = ("top", "tube-15mm", "end_C")


def written(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "measured.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def histories(tmp_path: Path, text: str) -> Readings:
    found = read_measured(written(tmp_path, text), PROBES)
    assert isinstance(found, Readings)
    return found


def trials(tmp_path: Path, text: str) -> TrialPieces:
    found = read_measured(written(tmp_path, text), ())
    assert isinstance(found, TrialPieces)
    return found


@pytest.mark.parametrize(
    "text",
    [
        "time_s,top_C,tube-15mm_C\n0,20,21\n60,100,\n",
        "time [min],top [degF],tube-15mm [K]\n0,68,294.15\n1,212,\n",
        "\ufefftime_min;top_°C;tube-15mm (degC)\r\n0;20;21\r\n1;100;\r\n",
        "# logger 7\n\ntime_s\ttop_degC\ttube-15mm_C\n0\t20\t21\n6e1\t1e2\t\n",
    ],
)
def test_histories_read_in_any_unit(tmp_path: Path, text: str) -> None:
    found = histories(tmp_path, text)
    assert found.names == ("top", "tube-15mm")
    np.testing.assert_allclose(found.time, [0.0, 60.0])
    np.testing.assert_allclose(found.values, [[293.15, 294.15], [373.15, np.nan]], atol=1e-9)


def test_a_probe_whose_name_ends_like_a_unit_can_be_read(tmp_path: Path) -> None:
    assert histories(tmp_path, "time_s,end_C_K\n0,300\n1,310\n").names == ("end_C",)


def test_the_probes_file_of_a_run_is_such_a_file(tmp_path: Path) -> None:
    found = histories(tmp_path, "time_s,top_C\n0.0000,20.000\n0.1111,20.003\n")
    assert found.values[1, 0] == pytest.approx(293.153)


def test_trials_read(tmp_path: Path) -> None:
    found = trials(tmp_path, "current_A,melted,wet\n60,no,\n70,Yes,1\n")
    np.testing.assert_array_equal(found.current, [60.0, 70.0])
    np.testing.assert_array_equal(found.melted, [0.0, 1.0])
    np.testing.assert_array_equal(found.wet, [np.nan, 1.0])
    only = trials(tmp_path, "current [kA];wet\n0.06;y\n0.07;n\n")
    np.testing.assert_allclose(only.current, [60.0, 70.0])
    assert np.isnan(only.melted).all()


# text, key, given, allowed, hint
BAD = [
    ("", "file", "nothing", "a CSV file", ""),
    ("time_s,top_C\n", "file", "nothing below it", "a CSV file", ""),
    ("t,top_C\n0,1\n", "line 1, column 1", '"t"', "time with its unit", ""),
    ("time,top_C\n0,1\n", "column 1", '"time"', "such as time_s", "no unit"),
    ("time_A,top_C\n0,1\n", "column 1", '"time_A"', "such as time_s", "not a time"),
    ("time_s\n0\n1\n", "header", '["time_s"]', "top, tube-15mm", ""),
    ("time_s,top\n0,1\n", "column 2", '"top"', "such as top_C", "no unit"),
    ("time_s,top_s\n0,1\n", "column 2", '"top_s"', "such as top_C", "not a temperature"),
    ("time_s,top_delta_degC\n0,1\n", "column 2", '"top_delta_degC"', "a probe of the case", ""),
    ("time_s,tops_C\n0,1\n", "column 2", '"tops_C"', "top, tube-15mm", 'did you mean "top"?'),
    ("time_s,top_C,top_K\n0,1,1\n", "column 3", '"top_K"', "each probe once", ""),
    ("time_s,top_C\n0,1\n1,2,3\n", "line 3", "3 cells", "2, as in the header", "write a point"),
    ("time_s,top_C\n0,1\n1\n", "line 3", "1 cells", "2, as in the header", ""),
    ("time_s;top_C\n0;1,5\n", "line 2, column 2", '"1,5"', "a number", "after a point"),
    ("time_s,top_C\n0,x\n", "line 2, column 2", '"x"', "a number", ""),
    ("time_s,top_C\n0,inf\n", "line 2, column 2", '"inf"', "a number", ""),
    ("time_s,top_C\n,20\n", "line 2, column 1", '""', "a number", ""),
    ("time_s,top_C\n0,-300\n", "line 2, column 2", '"-300"', "-200 to 3500 degC", ""),
    ("time_s,top_C\n0,20\n\n0,21\n", "line 4, column 1", "0 s", "rising times: above 0 s", ""),
    ("time_s,top_C\n0,\n1,\n", "header", '"top"', "at least one reading", ""),
    ('time_s,top_C\n"0,20\n', "line 2", '"\\"0,20"', "cells parted by", ""),
    (b"time_s,top_C\n0,\xff\n", "file", "first in line 2", "a CSV file", ""),
    ("current,melted\n60,no\n", "column 1", '"current"', "such as current_A", "no unit"),
    ("current_V,melted\n60,no\n", "column 1", '"current_V"', "such as current_A", "not a current"),
    ("current_A\n60\n", "header", '["current_A"]', "melted, wet, or both", ""),
    ("current_A,dry\n60,no\n", "column 2", '"dry"', "melted or wet, each once", ""),
    ("current_A,wet,wet\n60,no,no\n", "column 3", '"wet"', "melted or wet, each once", ""),
    ("current_A,wet\n60,maybe\n", "line 2, column 2", '"maybe"', "yes or no, or nothing", ""),
    ("current_A,wet\n-60,no\n", "line 2, column 1", '"-60"', "a current from 1 to 1000 A", ""),
    ("current_A,wet\n60,no\n1e30,yes\n", "line 3, column 1", '"1e30"', "from 1 to 1000 A", ""),
    ("current_A,wet\n" + "60,no\n" * 201, "file", "201 rows", "at most 200", "run again"),
    ("time_s,top_C\n0,1_0\n", "line 2, column 2", '"1_0"', "a number", ""),
    ("time_s,top_C\n0,\u0661\n", "line 2, column 2", '"\u0661"', "a number", ""),
    ("time_s" + ",top_C" * 100 + "\n" + "0," * 100 + "1\n", "header", "101 columns", "100", ""),
    ("current_A,wet\n60,\n", "file", "no answer at all", "yes or no", ""),
]


def faults_of(path: Path, probes: tuple[str, ...] = PROBES) -> tuple[Fault, ...]:
    with pytest.raises(CaseError) as caught:
        read_measured(path, probes)
    assert all(fault.file == str(path) for fault in caught.value.faults)
    return caught.value.faults


@pytest.mark.parametrize(("text", "key", "given", "allowed", "hint"), BAD)
def test_a_fault_is_told_where_it_stands(
    tmp_path: Path, text: str | bytes, key: str, given: str, allowed: str, hint: str
) -> None:
    (fault,) = faults_of(written(tmp_path, text))
    assert fault.key == key
    assert given in fault.given
    assert allowed in fault.allowed
    assert hint in fault.hint


def test_several_faults_are_told_at_once(tmp_path: Path) -> None:
    text = "time_s,top_C\n" + "".join(f"{i},x{i}\n" for i in range(40))
    assert [fault.key for fault in faults_of(written(tmp_path, text))] == [
        f"line {line}, column 2" for line in range(2, 14)
    ]


def test_a_case_without_probes_is_told(tmp_path: Path) -> None:
    (fault,) = faults_of(written(tmp_path, "time_s,top_C\n0,1\n"), ())
    assert "no [[probe]]" in fault.hint


def test_files_that_are_none_are_told(tmp_path: Path) -> None:
    assert faults_of(tmp_path / "none.csv")[0].given == "no such file"
    assert faults_of(tmp_path)[0].given == "a folder"


@pytest.mark.parametrize("row", ["x,y,z\n", "{},20\n", "{},a\n", '"{}\n', "\n"])
def test_a_million_lines_are_refused_at_once(tmp_path: Path, row: str) -> None:
    """Read to their end a million bad lines took 136 s and 1.3 GB."""
    rows = "".join(row.format(n) for n in range(1_000_000))
    path = written(tmp_path, f"time_s,top_C\n{rows}")
    start = process_time()
    faults = faults_of(path)
    assert process_time() - start < 5.0
    assert len(faults) == 1
    assert faults[0].given == (
        "a header and nothing below it" if row == "\n" else "more than 100000 rows"
    )


def test_as_many_rows_as_are_allowed_are_read_or_refused_in_time(tmp_path: Path) -> None:
    start = process_time()
    rows = "".join(f"{0.01 * n:.2f},20\n" for n in range(100_000))
    assert len(histories(tmp_path, f"time_s,top_C\n{rows}").time) == 100_000
    assert len(faults_of(written(tmp_path, "time_s,top_C\n" + "0,x\n" * 100_000))) == 12
    assert process_time() - start < 10.0
