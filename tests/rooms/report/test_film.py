"""The film of a run: what is kept for it, what a frame shows, what is written."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from imageio_ffmpeg import count_frames_and_secs
from PIL import Image

from invariance.small import SMALL, text_of
from lapheat.api import Result, simulate
from lapheat.case.file import read_case_text
from lapheat.march import frames
from lapheat.report import film
from lapheat.report.folder import check_folder
from support.runs import run_with

BEAD = """
joint = "bead-on-tube"
tube = { outside_diameter = "12 mm", wall = "1 mm", length = "20 mm" }
arc = { current = "30 A", spot = "2.5 mm" }
travel = { speed = "4 mm/s", segment = "9.5 mm", pause = "1 s" }
"""
CASE = read_case_text(text_of(SMALL), "small.toml")


@pytest.fixture(scope="module")
def kept() -> Result:
    """Small joint, at most 40 frames, so that tests are quick."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(frames, "FILM", 40)
        return simulate(CASE, threads=1, keep=["film"])


def test_frames_run_from_the_first_arc_to_the_last(kept: Result) -> None:
    history = kept.history
    assert history.film is not None
    time = history.film.time
    assert 20 <= len(time) <= 40
    assert time[0] == 0.0
    assert history.total - 2.0 * np.diff(time).max() < time[-1] <= history.total
    rows = np.searchsorted(history.trace.time, time)
    assert (history.film.current == history.trace.current[rows]).all()
    assert history.film.angle == pytest.approx(history.trace.angle[rows])
    assert (history.film.segment == history.trace.segment[rows]).all()


def test_no_frame_is_hotter_than_the_peaks(kept: Result) -> None:
    history = kept.history
    assert history.film is not None
    for name in film.PANELS:
        surface = history.surfaces[name]
        seen = history.film.surfaces[name].max(axis=0)
        assert seen.shape == surface.peak.shape
        assert (seen <= surface.peak * (1.0 + 1e-6)).all()
    hottest = history.film.surfaces["tube outside"].max()
    assert hottest > 0.9 * history.surfaces["tube outside"].peak.max()


def test_the_section_is_that_under_the_arc(kept: Result) -> None:
    history = kept.history
    assert history.film is not None
    mesh = history.problem.mesh
    burning = np.flatnonzero(history.film.current > 0.0)
    tube = mesh.section.region == 0
    names = history.problem.wall_names()
    assert "tube outside" in names
    for index in burning[::5]:
        layer = int(history.film.angle[index] / mesh.step) % mesh.layers
        there = history.film.surfaces["tube outside"][index][:, [layer - 1, layer]].max()
        # a surface under the arc is hotter than the cell behind it, by less than 300 K
        assert there - 300.0 < history.film.section[index][tube].max() < there + 1.0


def pixels(kept: Result) -> list[Any]:
    assert kept.history.film is not None
    scene = film._Scene(kept.history, kept.history.film)
    return [scene.draw(index) for index in range(len(kept.history.film.time))]


def test_a_frame_does_not_depend_on_those_before_it(kept: Result) -> None:
    assert kept.history.film is not None
    drawn = pixels(kept)
    anew = film._Scene(kept.history, kept.history.film).draw(7)
    assert (drawn[7] == anew).all()
    assert (drawn[7] != drawn[8]).any()
    height, width, _ = anew.shape
    assert (height % 16, width % 16) == (0, 0)  # encoders would else resize it


@pytest.mark.parametrize("name", film.FILM_NAMES)
def test_every_frame_is_in_the_film(
    name: str, kept: Result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(film, "film_name", lambda: name)
    seen: list[tuple[str, int, int]] = []
    path = film.save_film(kept.history, tmp_path, lambda *where: seen.append(where))
    assert kept.history.film is not None
    count = len(kept.history.film.time)
    assert seen == [("drawing the film", done, count) for done in range(count)]
    assert path == tmp_path / name
    if name == "film.gif":
        with Image.open(path) as image:
            assert image.n_frames == count  # type: ignore[attr-defined]
            assert image.info["duration"] == film.PERIOD
            # many levels survive the palette
            assert len(np.unique(np.asarray(image.convert("RGB")).reshape(-1, 3), axis=0)) > 60
    else:
        frames_read, seconds = count_frames_and_secs(str(path))
        assert frames_read == count
        assert seconds == pytest.approx(count * film.PERIOD * 1e-3, rel=0.05)
    assert path.stat().st_size < 5e6


def test_the_film_is_a_gif_without_an_encoder(monkeypatch: pytest.MonkeyPatch) -> None:
    """The package is there but its encoder is not, then the package is not there either."""
    assert film.film_name() == "film.mp4"
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", "/nowhere/encoder")
    assert film.film_name() == "film.gif"
    monkeypatch.delenv("IMAGEIO_FFMPEG_EXE")
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    assert film.film_name() == "film.gif"


def test_the_encoder_ends_with_a_drawing_that_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended: list[bool] = []

    def encoder(*_: Any, **__: Any) -> Iterator[None]:
        try:
            while True:
                yield
        finally:
            ended.append(True)

    def drawn() -> Iterator[film.Pixels]:
        yield np.zeros((16, 16, 3), np.uint8)
        assert not ended
        raise ZeroDivisionError

    monkeypatch.setattr("imageio_ffmpeg.write_frames", encoder)
    with pytest.raises(ZeroDivisionError) as kept:  # which keeps the frame, and so the encoder
        film._write_mp4(drawn(), tmp_path / "film.mp4")
    assert ended, kept


def test_a_bead_is_filmed_too() -> None:
    case = read_case_text(BEAD, "bead.toml", detail="coarse")
    result = simulate(case, threads=1, keep=["film"])
    assert result.history.film is not None
    drawn = film._Scene(result.history, result.history.film).draw(3)
    assert drawn.std() > 10.0


def test_a_result_with_a_film_is_written_and_may_be_replaced(
    kept: Result, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lapheat.report.figures.save_figures", lambda *_: ())
    files = kept.save(tmp_path / "out")
    assert tmp_path / "out" / film.film_name() in files
    check_folder(tmp_path / "out")


def test_a_run_that_kept_nothing_has_no_film(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="did not keep its film"):
        film.save_film(run_with(), tmp_path)
