"""Temperature of every cell through the run, for general 3-D viewers and for scripts.

VTK XML (`.vtu`, a file a frame, and the `.pvd` that lists them) holds the whole ring. NetCDF holds
the same numbers by section cell and layer, with names and units as CF has them. Both are in
single precision, 0.0001 K at 1500 K. Nan means that no filler is there, or not yet.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..case.faults import CaseError
from ..history.frames import FieldFrames
from ..history.records import History
from ..joint.mesh import Mesh, ring_corners
from ..joint.schedule import zero_of
from ..version import __version__
from .notebook import Count

__all__ = ["FIELD_NAME", "check_vtk", "save_fields"]

FIELD_NAME = r"(peak|temperature-[0-9]{4})\.vtu|temperature\.(pvd|nc)"
"""Pattern of the files in the folder."""

HEXAHEDRON, WEDGE = 12, 13  # cell types of VTK
REGIONS = ("tube", "flange", "fillet")  # by number, as `section.Region` has them


def check_vtk() -> None:
    """Refuse fields where the package that writes them is not installed.

    Raises
    ------
    CaseError
        It is not.
    """
    try:
        import vtkmodules.vtkIOXML  # noqa: F401 - whether it is there
    except ImportError:
        raise CaseError.one(
            "", "--fields", "on", "the package vtk installed", "pip install 'lapheat[fields]'"
        ) from None


def save_fields(history: History, folder: Path, count: Count | None = None) -> tuple[Path, ...]:
    """Write what `History.fields` keeps; see the module.

    Parameters
    ----------
    history : of a run that kept its fields
    folder : where to write; made if missing
    count : called with what is done, frames written and frames in all

    Returns
    -------
    paths : in the order written

    Raises
    ------
    ValueError
        The run did not keep its fields.
    OSError
        The folder or a file cannot be written.
    """
    fields = history.fields
    if fields is None:
        raise ValueError("the run did not keep its fields: simulate(case, keep=['fields'])")
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / "temperature.nc"]
    _write_netcdf(history, fields, paths[0])
    mesh, region = history.problem.mesh, history.problem.mesh.section.region
    frames = [folder / f"temperature-{i:04d}.vtu" for i in range(len(fields.time))]
    grid = _Grid(mesh)
    for done, (path, temperature) in enumerate(zip(frames, fields.temperature, strict=True)):
        if count is not None:
            count("writing fields", done, len(frames))
        grid.write(path, {"temperature": temperature}, region)
    listed = folder / "temperature.pvd"
    listed.write_text(_pvd(frames, fields.time), "utf-8")
    peak = folder / "peak.vtu"
    grid.write(peak, {"peak_temperature": fields.peak}, region)
    return (*paths, *frames, listed, peak)


class _Grid:
    """The ring as cells of VTK: cell ``c`` of layer ``k`` is cell ``c * layers + k``."""

    def __init__(self, mesh: Mesh) -> None:
        from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
        from vtkmodules.vtkCommonCore import vtkPoints
        from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkUnstructuredGrid

        self._wrap = numpy_to_vtk
        connectivity, offsets, kinds = _cells(mesh)
        points, cells = vtkPoints(), vtkCellArray()
        points.SetData(numpy_to_vtk(ring_corners(mesh), deep=True))
        cells.SetData(
            numpy_to_vtkIdTypeArray(offsets, deep=True),
            numpy_to_vtkIdTypeArray(connectivity, deep=True),
        )
        self._grid = vtkUnstructuredGrid()
        self._grid.SetPoints(points)
        self._grid.SetCells(numpy_to_vtk(kinds, deep=True), cells)
        self._layers = mesh.layers

    def write(self, path: Path, values: dict[str, NDArray[np.float32]], region: Any) -> None:
        """Write numbers by cell (section cells, layers), and the part each cell belongs to."""
        from vtkmodules.vtkIOXML import vtkXMLUnstructuredGridWriter

        data = self._grid.GetCellData()
        data.Initialize()
        parts = np.repeat(region.astype(np.int8), self._layers)
        for name, numbers in {**values, "region": parts}.items():
            array = self._wrap(np.ascontiguousarray(numbers).reshape(-1), deep=True)
            array.SetName(name)
            data.AddArray(array)
        writer = vtkXMLUnstructuredGridWriter()
        writer.SetFileName(str(path))
        writer.SetInputData(self._grid)
        writer.SetCompressionLevel(1)  # a quarter of the time of 5, bytes 5 % more
        if writer.Write() != 1:
            raise OSError(f"VTK could not write {path}")


def _cells(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.uint8]]:
    """Corners of every cell one after the other, where each begins (and the end), and its kind.

    A section cell runs counter-clockwise in (r, z), so its normal points against the angle. VTK
    begins a cell with the face whose normal points inward, here that at the larger angle.
    """
    section, layers = mesh.section, mesh.layers
    vertices = len(section.vertices)
    here = np.arange(layers) * vertices
    after = np.roll(here, -1)
    corners = np.full((len(section.cells), layers, 8), -1, dtype=np.int64)
    flat = section.triangles
    quads, triangles = section.cells[~flat][:, None, :], section.cells[flat][:, None, :3]
    corners[~flat, :, :4] = quads + after[:, None]
    corners[~flat, :, 4:] = quads + here[:, None]
    corners[flat, :, :3] = triangles + after[:, None]
    corners[flat, :, 3:6] = triangles + here[:, None]
    sizes = np.repeat(np.where(flat, 6, 8), layers)
    offsets = np.concatenate([[0], np.cumsum(sizes)])
    kinds = np.repeat(np.where(flat, WEDGE, HEXAHEDRON), layers).astype(np.uint8)
    joined = corners.reshape(-1)
    return joined[joined >= 0], offsets, kinds


def _pvd(frames: list[Path], time: NDArray[np.float64]) -> str:
    """List frames with their times [s], as viewers of VTK files read them."""
    sets = [
        f'    <DataSet timestep="{at:.6f}" file="{path.name}"/>'
        for path, at in zip(frames, time, strict=True)
    ]
    head = '<?xml version="1.0"?>\n<VTKFile type="Collection" version="0.1">\n  <Collection>'
    return "\n".join([head, *sets, "  </Collection>", "</VTKFile>", ""])


def _write_netcdf(history: History, fields: FieldFrames, path: Path) -> None:
    """Write section cells by layer; volumes and corners are there, so that means can be taken."""
    from scipy.io import netcdf_file

    mesh = history.problem.mesh
    section = mesh.section
    # triangles repeat a corner, as bounds need as many for every cell
    corners = np.where(section.cells < 0, section.cells[:, :1], section.cells)
    ends = section.vertices[corners]
    centre = np.array([section.vertices[cell[cell >= 0]].mean(axis=0) for cell in section.cells])
    zero, way = zero_of(history.case)
    with netcdf_file(path, "w", version=2) as file:
        file.Conventions = "CF-1.11"
        file.title = history.case.title
        file.source = f"Lapheat {__version__}, {history.march} march"
        file.comment = (
            "A ring: section cells (radius, height above the flange face) by layers (angle from "
            f"the {zero}, {way}). Nan where no filler is."
        )
        for name, size in (("time", None), ("cell", len(centre)), ("layer", mesh.layers)):
            file.createDimension(name, size)
        file.createDimension("corner", 4)

        def add(name: str, over: tuple[str, ...], values: Any, units: str, **told: Any) -> None:
            variable = file.createVariable(name, values.dtype.newbyteorder("="), over)
            variable[:] = values
            for key, value in ({"units": units} | told).items():
                setattr(variable, key, value)

        single = np.float32("nan")
        add("time", ("time",), fields.time, "s", long_name="time since the first arc")
        add("angle", ("layer",), np.degrees(mesh.layer_angles()), "degree", long_name="angle")
        for axis, name in enumerate(("radius", "height")):
            bounds = f"{name}_bounds"
            add(name, ("cell",), centre[:, axis], "m", long_name=name, bounds=bounds)
            add(bounds, ("cell", "corner"), ends[:, :, axis], "m")
        add("volume", ("cell",), mesh.volume, "m3", long_name="volume of a cell of one layer")
        add(
            "region",
            ("cell",),
            section.region.astype(np.int8),
            "1",
            long_name="part of the joint",
            flag_values=np.arange(3, dtype=np.int8),
            flag_meanings=" ".join(REGIONS),
        )
        shared = {"coordinates": "angle radius height", "cell_measures": "volume: volume"}
        add(
            "temperature",
            ("time", "cell", "layer"),
            fields.temperature,
            "K",
            long_name="temperature",
            cell_methods="time: point",
            _FillValue=single,
            **shared,
        )
        add(
            "peak_temperature",
            ("cell", "layer"),
            fields.peak,
            "K",
            long_name="highest temperature of the run",
            cell_methods="time: maximum",
            _FillValue=single,
            **shared,
        )
