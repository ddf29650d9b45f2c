"""Frames kept while a march goes on: bounded in number, as even in time as its steps allow."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..history.frames import FieldFrames, FilmFrames
from .state import State

__all__ = ["Frames"]

Short = NDArray[np.float32]

FILM, FIELDS = 240, 48  # frames at most; from half as many on where the run is long enough
APART = 0.25  # [s] between frames at first; doubled each time they become too many


class _FilmFrame(NamedTuple):
    """One frame of a film: `surface` holds every row of `State.surface`."""

    time: float
    current: float
    segment: int
    angle: float
    surface: Short
    section: Short
    alive: NDArray[np.bool_]


class _FieldFrame(NamedTuple):
    """One frame of the fields."""

    time: float
    temperature: Short


class Frames:
    """Keeps what is asked for; reads the state and never changes it."""

    def __init__(self, state: State, keep: Collection[str]) -> None:
        self._state = state
        self._film: list[_FilmFrame] | None = [] if "film" in keep else None
        self._fields: list[_FieldFrame] | None = [] if "fields" in keep else None
        self._next = {"film": 0.0, "fields": 0.0}
        self._apart = dict.fromkeys(self._next, APART)

    def offer(self, time: float, segment: int, angle: float, current: float, cooling: bool) -> None:
        """Keep the state at `time` if it is time for another frame.

        Parameters
        ----------
        time : [s]
        segment : being laid or last laid
        angle : of the arc [rad]
        current : [A]
        cooling : the last segment is laid; no film is made of what follows
        """
        if self._film is not None and not cooling and time >= self._next["film"]:
            self._film.append(self._picture(time, segment, angle, current))
            self._thin("film", self._film, FILM)
        if self._fields is not None and time >= self._next["fields"]:
            self._fields.append(_FieldFrame(time, self._masked(self._temperature())))
            self._thin("fields", self._fields, FIELDS)

    def _thin(self, name: str, frames: list[_FilmFrame] | list[_FieldFrame], most: int) -> None:
        """Drop every second frame once there are too many; say when the next is due."""
        if len(frames) > most:
            del frames[1::2]
            self._apart[name] *= 2.0
        self._next[name] = frames[-1].time + self._apart[name]

    def _picture(self, time: float, segment: int, angle: float, current: float) -> _FilmFrame:
        state = self._state
        mesh = state.problem.mesh
        # where the arc stops between two layers, show the one that it has laid
        sides = [int(angle / mesh.step + side) % mesh.layers for side in (-1e-6, 1e-6)]
        layer = max(sides, key=lambda side: float(state.alive[:, side].sum()))
        alive = np.ones(len(mesh.volume), dtype=np.bool_)
        alive[state.problem.fillet_cells] = state.alive[:, layer] > 0.0
        section = state.temperature(layer).astype(np.float32)
        surface = state.surface.astype(np.float32)
        return _FilmFrame(time, current, segment, angle, surface, section, alive)

    def _temperature(self) -> Short:
        problem = self._state.problem
        alloy = problem.grid.alloy[:, None]
        return problem.tables.temperature_at(alloy, self._state.h).astype(np.float32)

    def _masked(self, temperature: Short) -> Short:
        """Put nan where no filler is."""
        cells = self._state.problem.fillet_cells
        temperature[cells] = np.where(self._state.alive > 0.0, temperature[cells], np.nan)
        return temperature

    def film(self, rows_of: Mapping[str, list[int]]) -> FilmFrames | None:
        """Frames of the film, None if they were not kept; `rows_of` each surface, along it."""
        frames = self._film
        if frames is None:
            return None
        surface = np.array([frame.surface for frame in frames])
        return FilmFrames(
            time=np.array([frame.time for frame in frames]),
            current=np.array([frame.current for frame in frames]),
            segment=np.array([frame.segment for frame in frames]),
            angle=np.array([frame.angle for frame in frames]),
            surfaces={name: surface[:, rows] for name, rows in rows_of.items()},
            section=np.array([frame.section for frame in frames]),
            alive=np.array([frame.alive for frame in frames]),
        )

    def fields(self) -> FieldFrames | None:
        """Frames of the fields, None if they were not kept."""
        frames = self._fields
        if frames is None:
            return None
        return FieldFrames(
            time=np.array([frame.time for frame in frames]),
            temperature=np.array([frame.temperature for frame in frames]),
            peak=self._masked(self._state.cell_peak().astype(np.float32)),
        )
