"""Fields of a run: kept without changing it, read back by other readers to the same numbers."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import meshio
import numpy as np
import pytest
import xarray
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkFiltersVerdict import vtkCellSizeFilter
from vtkmodules.vtkIOXML import vtkXMLUnstructuredGridReader

from invariance.small import SMALL, text_of
from lapheat.api import Result, simulate
from lapheat.case.file import CaseError, read_case_text
from lapheat.march import frames
from lapheat.report.fields import check_vtk, save_fields
from lapheat.report.folder import check_folder
from support.runs import run_with

CASE = read_case_text(text_of(SMALL), "small.toml")


@pytest.fixture(scope="module")
def kept() -> Result:
    return simulate(CASE, threads=1, keep=["film", "fields"])


@pytest.fixture(scope="module")
def written(kept: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("run") / "fields"
    save_fields(kept.history, folder)
    return folder


# ---- what is kept -----------------------------------------------------------------------------


def test_keeping_frames_changes_no_outcome(kept: Result) -> None:
    def told(result: Result) -> str:
        whole = result.outcomes.as_dict()
        del whole["march"]["wall_s"]
        return json.dumps(whole)

    assert told(kept) == told(simulate(CASE, threads=1))


def test_frames_are_those_of_the_trace(kept: Result) -> None:
    trace, fields = kept.history.trace, kept.history.fields
    assert fields is not None
    assert np.isin(fields.time, trace.time).all()
    assert fields.time[0] == 0.0
    assert (fields.temperature[0][np.isfinite(fields.temperature[0])] == np.float32(293.15)).all()
    assert fields.time[-1] > kept.history.total  # the cooling is there
    assert fields.peak == pytest.approx(kept.history.cell_peak, rel=1e-6, nan_ok=True)
    assert (np.nanmax(fields.temperature, axis=0) <= fields.peak * (1.0 + 1e-6))[
        np.isfinite(fields.peak)
    ].all()


def test_filler_is_nan_until_it_is_laid(kept: Result) -> None:
    fields = kept.history.fields
    assert fields is not None
    bare = np.isnan(fields.temperature).any(axis=2)
    fillet = kept.history.problem.fillet_cells
    assert bare[0, fillet].all()
    assert not bare[-1].any()  # the whole ring is laid
    assert not np.delete(bare, fillet, axis=1).any()


def test_frames_are_bounded_and_evenly_spaced(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(frames, "FIELDS", 12)
    fields = simulate(CASE, threads=1, keep=["fields"]).history.fields
    assert fields is not None
    assert 6 <= len(fields.time) <= 12
    apart = np.diff(fields.time)
    assert apart.max() < 3.0 * apart.min()  # steps of the cooling are long


@pytest.mark.parametrize("keep", ["fields", ["field"], ["film", "steps"]])
def test_what_cannot_be_kept_is_refused(keep: Any) -> None:
    with pytest.raises(ValueError, match="keep holds names of film, fields"):
        simulate(CASE, keep=keep)


# ---- VTK --------------------------------------------------------------------------------------


def test_vtk_files_give_back_the_temperatures_through_meshio(kept: Result, written: Path) -> None:
    fields = kept.history.fields
    assert fields is not None
    listed = ElementTree.parse(written / "temperature.pvd").getroot().findall(".//DataSet")
    assert [float(item.attrib["timestep"]) for item in listed] == pytest.approx(fields.time)
    for index in (0, len(listed) // 2, -1):
        mesh = meshio.read(written / listed[index].attrib["file"])
        read = np.concatenate(mesh.cell_data["temperature"])
        told = fields.temperature[index].reshape(-1)
        assert read == pytest.approx(told, rel=1e-6, nan_ok=True)
    peak = meshio.read(written / "peak.vtu")
    read = np.concatenate(peak.cell_data["peak_temperature"])
    assert float(np.nanmax(read)) == pytest.approx(float(kept.history.cell_peak.max()), rel=1e-6)


def test_vtk_cells_fill_the_ring_and_lie_where_the_section_is(kept: Result, written: Path) -> None:
    reader = vtkXMLUnstructuredGridReader()
    reader.SetFileName(str(written / "peak.vtu"))
    sizes = vtkCellSizeFilter()
    sizes.SetInputConnection(reader.GetOutputPort())
    sizes.Update()
    grid, mesh = sizes.GetOutput(), kept.history.problem.mesh
    data = grid.GetCellData()
    volume = vtk_to_numpy(data.GetArray("Volume")).reshape(mesh.shape)
    # a flat facet of a triangle is not the revolved one, see `mesh._sweep`
    flat = ~mesh.section.triangles
    assert volume[flat] == pytest.approx(np.repeat(mesh.volume[flat, None], mesh.layers, axis=1))
    assert volume.sum() == pytest.approx(mesh.volume.sum() * mesh.layers, rel=1e-3)
    for cell in (np.flatnonzero(flat)[0], np.flatnonzero(~flat)[0]):
        last = int(cell) * mesh.layers + mesh.layers - 1  # the one that closes the ring
        assert _inside(grid.GetCell(last)) == pytest.approx(volume[cell, -1], rel=1e-2)
    region = vtk_to_numpy(data.GetArray("region")).reshape(mesh.shape)
    assert (region == mesh.section.region[:, None]).all()
    points = vtk_to_numpy(grid.GetPoints().GetData())
    outer = np.hypot(points[:, 0], points[:, 1]).max()
    flange = CASE.flange
    assert flange is not None
    assert outer == pytest.approx(0.5 * flange.outside_diameter, rel=2e-3)


def _inside(cell: Any) -> float:
    """Volume by Gauss's theorem [m3]: positive if the normals of all faces point outward."""
    total = 0.0
    for number in range(cell.GetNumberOfFaces()):
        points = vtk_to_numpy(cell.GetFace(number).GetPoints().GetData())
        for i in range(1, len(points) - 1):
            total += float(np.linalg.det(points[[0, i, i + 1]])) / 6.0
    return total


# ---- NetCDF -----------------------------------------------------------------------------------


def test_netcdf_gives_back_the_temperatures_through_xarray(kept: Result, written: Path) -> None:
    fields, mesh = kept.history.fields, kept.history.problem.mesh
    assert fields is not None
    with xarray.open_dataset(written / "temperature.nc", engine="netcdf4") as data:
        assert data.temperature.dims == ("time", "cell", "layer")
        assert data.temperature.values == pytest.approx(fields.temperature, rel=1e-6, nan_ok=True)
        assert data.peak_temperature.values == pytest.approx(fields.peak, rel=1e-6, nan_ok=True)
        assert data.time.values == pytest.approx(fields.time)
        assert data.angle.values == pytest.approx(np.degrees(mesh.layer_angles()))
        assert float(data.volume.sum()) * mesh.layers == pytest.approx(
            float(mesh.volume.sum()) * mesh.layers
        )
        tube = data.where(data.region == 0, drop=True)
        assert float(tube.radius.max()) < 0.5 * CASE.tube.outside_diameter
        assert data.attrs["Conventions"] == "CF-1.11"
        told = {name: item.attrs.get("units") for name, item in data.variables.items()}
        assert (told["temperature"], told["time"], told["angle"]) == ("K", "s", "degree")
        assert (told["radius"], told["height"], told["volume"]) == ("m", "m", "m3")
        assert data.region.attrs["flag_meanings"] == "tube flange fillet"


def test_the_hottest_base_of_the_file_is_at_the_joint(written: Path) -> None:
    with xarray.open_dataset(written / "temperature.nc", engine="netcdf4") as data:
        base = data.peak_temperature.where(data.region < 2)
        cell, layer = np.unravel_index(int(np.nanargmax(base.values)), base.shape)
        radius, height = data.radius[cell].item(), data.height[cell].item()
        assert 0.0 < data.angle[layer].item() < 360.0
    assert abs(radius - CASE.tube.radius) < 3.0 * CASE.arc.spot
    assert abs(height) < 3.0 * CASE.arc.spot


# ---- the folder -------------------------------------------------------------------------------


def test_a_result_with_fields_is_written_and_replaced(
    kept: Result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lapheat.report.figures.save_figures", lambda *_: ())
    seen: list[tuple[str, int, int]] = []
    files = kept.save(tmp_path / "out", lambda *where: seen.append(where))
    assert kept.history.fields is not None
    count = len(kept.history.fields.time)
    assert [where for where in seen if where[0] == "writing fields"] == [
        ("writing fields", done, count) for done in range(count)
    ]
    names = {str(path.relative_to(tmp_path / "out")) for path in files}
    assert {"fields/temperature.nc", "fields/temperature.pvd", "fields/peak.vtu"} <= names
    check_folder(tmp_path / "out")  # an earlier result may be replaced
    (tmp_path / "out" / "fields" / "mine.vtu").write_text("x", "utf-8")
    with pytest.raises(CaseError, match=r"fields/mine\.vtu"):
        check_folder(tmp_path / "out")


def test_without_vtk_fields_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "vtkmodules.vtkIOXML", None)
    with pytest.raises(CaseError, match=r"pip install 'lapheat\[fields\]'"):
        check_vtk()


def test_a_run_that_kept_nothing_has_no_fields_to_write(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="did not keep its fields"):
        save_fields(run_with(), tmp_path / "fields")
    assert not list(tmp_path.iterdir())
