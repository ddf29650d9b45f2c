"""The files `save_figures` leaves, from made-up runs and a marched one."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from lapheat.march.march import march
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.problem.setup import job_of
from lapheat.report.figures import peaks, save_figures, write_figure
from support.synthetic import PROBES, make_case, make_history


def test_saved_files_are_whole_and_repeat(tmp_path: Path) -> None:
    run = make_history(make_case())
    first = save_figures(run, tmp_path / "a" / "figures")
    names = ("peaks", "histories", "section", "schedule")
    assert [path.name for path in first] == [f"{n}.{end}" for n in names for end in ("png", "svg")]
    again = save_figures(run, tmp_path / "b")
    for one, other in zip(first, again, strict=True):
        content = one.read_bytes()
        assert content == other.read_bytes()
        if one.suffix == ".png":
            assert content.startswith(b"\x89PNG")
            assert content.rstrip().endswith(b"IEND\xaeB`\x82")


def test_svg_is_the_same_picture_with_its_text_as_text(tmp_path: Path) -> None:
    run = make_history(make_case())
    figure = peaks(run)
    _, path = write_figure(figure, tmp_path / "peaks.png")
    root = ElementTree.parse(path).getroot()
    assert [float(n) for n in root.attrib["viewBox"].split()[2:]] == [
        pytest.approx(72.0 * inch) for inch in figure.get_size_inches()
    ]
    told = {"".join(node.itertext()).strip() for node in root.iter() if node.tag.endswith("text")}
    assert figure.axes[0].get_title("left") in told
    assert figure.axes[-1].get_ylabel() in told
    assert path.stat().st_size < 300_000


def test_a_name_the_font_lacks_is_no_error(tmp_path: Path) -> None:
    run = make_history(make_case(probes=(replace(PROBES[0], name="温度"),)))
    assert len(save_figures(run, tmp_path)) == 8


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OSError, match="file"):
        save_figures(make_history(make_case()), tmp_path / "file" / "figures")


def test_figures_need_no_pyplot() -> None:
    code = "import sys, lapheat.report.figures; sys.exit('matplotlib.pyplot' in sys.modules)"
    path = os.pathsep.join(filter(None, sys.path))
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": path}, check=False
    )
    assert done.returncode == 0


# FiPy, which makes the mesh, still imports NumPy's old name when it is first loaded
@pytest.mark.filterwarnings("ignore:numpy.core:DeprecationWarning")
def test_a_marched_run_is_drawn(tmp_path: Path) -> None:
    """The made-up runs above stand in for real ones: a real one must do as well."""
    job = job_of(make_case(coverage=0.1))
    run = march(job, CompiledStepper(job.problem, threads=1))
    assert len(save_figures(run, tmp_path)) == 8
    title = peaks(run).axes[0].get_title("left")
    hottest = run.surfaces["tube outside"].peak.max() - 273.15
    assert title.endswith(f": peak at {hottest:.0f} °C")
