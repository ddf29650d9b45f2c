"""The joint in section to scale, with its dimensions, the torch and its aim."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, inf, sin, tan

from ...case.case import Case
from .page import LEAD, MM, SIZE, Page, cut
from .values import Values

__all__ = ["draw_joint"]

Point = tuple[float, float]

SCALES = (
    20.0,
    10.0,
    8.0,
    6.0,
    5.0,
    4.0,
    3.0,
    2.5,
    2.0,
    1.5,
    1.0,
    1 / 1.5,
    0.5,
    0.4,
    0.2,
    0.1,
    0.05,
)
LABELS = 80.0  # [pt] width of a column of labels
USUAL_ARC = 3e-3  # [m] drawn where the case gives no length
TUNGSTEN = 2.4e-3  # [m] diameter it is drawn with: common practice, no source


@dataclass(frozen=True)
class _Label:
    """Two lines of text, where their leader ends, and on which side they stand."""

    name: str
    value: str
    at: Point
    side: str = "left"


@dataclass(frozen=True)
class _View:
    """Maps r and z [m] to the page and cuts at the rim of the drawing."""

    page: Page
    left: float
    top: float
    right: float
    bottom: float
    scale: float
    origin: Point  # of the tube's outside at the flange face (or at the arc line)

    def __call__(self, r: float, z: float) -> Point:
        """Place on the page, in its frame, of r from the tube's outside, z above the face [m]."""
        x, y = self.free(r, z)
        return min(max(x, self.left), self.right), min(max(y, self.top), self.bottom)

    def free(self, r: float, z: float) -> Point:
        """Do the same without a frame."""
        k = self.scale * 1e3 * MM
        return self.origin[0] + k * r, self.origin[1] - k * z

    def block(
        self, r: Sequence[float], z: Sequence[float], hatch: str, fill: str = "white"
    ) -> None:
        """Draw a rectangle."""
        corners = [self(r[0], z[0]), self(r[1], z[0]), self(r[1], z[1]), self(r[0], z[1])]
        self.page.shape(corners, fill=fill, hatch=hatch)

    def inside(self, r: float, z: float) -> bool:
        """Whether a place is in the drawing."""
        x, y = self.free(r, z)
        return self.left < x < self.right and self.top < y < self.bottom

    def broken(self, one: Point, other: Point) -> None:
        """Mark an edge where the drawing stops and the part goes on."""
        steps = 8
        x, y = (other[0] - one[0]) / steps, (other[1] - one[1]) / steps
        far = max((x * x + y * y) ** 0.5, 1e-9)
        points = [one]
        for step in range(1, steps):
            off = 1.6 * (-1.0) ** step
            points.append((one[0] + step * x - off * y / far, one[1] + step * y + off * x / far))
        # white beneath hides the straight edge
        self.page.path([one, other], 2.4, colour="white")
        self.page.path([*points, other], 0.7)


def draw_joint(
    page: Page, case: Case, values: Values, left: float, top: float, width: float, height: float
) -> None:
    """Draw the joint into a place of the page [pt]."""
    frame = left + LABELS, top + 17.0, left + width - LABELS, top + height - LEAD * SIZE - 4.0
    if case.flange is None:
        view, labels = _bead(page, case, values, frame)
    else:
        view, labels = _braze(page, case, values, frame)
    scale = f"{view.scale:g} : 1" if view.scale >= 1.0 else f"1 : {1.0 / view.scale:g}"
    page.text(left, top + 9.0, f"Section to scale {scale}, cold", bold=True)
    metal = f"Tube {values('tube.alloy')}"
    if case.flange is not None:
        metal += f", flange {values('flange.alloy')}"
    page.text(left, top + height - 2.0, cut(metal, width))
    for side in ("left", "right"):
        mine = [label for label in labels if label.side == side]
        _column(page, sorted(mine, key=lambda label: label.at[1]), side, view)


def _column(page: Page, labels: list[_Label], side: str, view: _View) -> None:
    """Write labels beneath each other as near to what they name as there is room."""
    x, align = (view.left - 12.0, "right") if side == "left" else (view.right + 12.0, "left")
    step = 2.0 * LEAD * SIZE + 3.0
    room = view.bottom - view.top
    step = min(step, room / max(len(labels), 1))
    tops: list[float] = []
    for index, label in enumerate(labels):
        least = view.top if not tops else tops[-1] + step
        most = view.bottom - (len(labels) - index) * step
        tops.append(max(least, min(label.at[1] - 0.5 * step, most)))
    for label, y in zip(labels, tops, strict=True):
        name, value = (cut(text, LABELS - 12.0, bold=True) for text in (label.name, label.value))
        page.text(x, y + 0.8 * SIZE, name, align=align)
        page.text(x, y + 0.8 * SIZE + LEAD * SIZE, value, bold=True, align=align)
        start = (x + 2.0 if side == "left" else x - 2.0), y + LEAD * SIZE
        page.path([start, label.at], 0.5)
        page.dot(label.at)


def _scale(frame: tuple[float, float, float, float], wide: float, high: float) -> float:
    """Largest round scale at which so many metres fit."""
    most = min((frame[2] - frame[0]) / wide, (frame[3] - frame[1]) / high) / (1e3 * MM)
    return next((scale for scale in SCALES if scale <= most), SCALES[-1])


def _torch(view: _View, foot: Point, angle: float, length: float) -> Point:
    """Draw axis and tungsten; return where its tip is."""
    out = cos(angle), sin(angle)

    def at(along: float, aside: float = 0.0) -> tuple[float, float]:
        return (
            foot[0] + along * out[0] - aside * out[1],
            foot[1] + along * out[1] + aside * out[0],
        )

    half, cone, end = 0.5 * TUNGSTEN, length + 1.5 * TUNGSTEN, length + 9.0 * TUNGSTEN
    outline = [at(end, half), at(cone, half), at(length), at(cone, -half), at(end, -half)]
    with view.page.clipped(view.left, view.top, view.right, view.bottom):
        view.page.shape([view.free(*p) for p in outline], fill="0.85", edge=0.7)
        view.page.path([view.free(*at(0.0)), view.free(*at(end))], 0.7, dash="-.")
    return view(*at(length))


def _braze(
    page: Page, case: Case, values: Values, frame: tuple[float, float, float, float]
) -> tuple[_View, list[_Label]]:
    brazed = case.brazed
    assert brazed is not None
    tube, flange, lap, leg = case.tube, brazed.flange, brazed.lap, brazed.fillet.leg
    arc, chill = case.arc, case.fixture.chill
    angle, aim = arc.work_angle, arc.aim
    length = arc.length or USUAL_ARC
    inner = -tube.wall - (min(chill.wall, 2.0 * tube.wall) if chill else 0.0)
    beside = 0.25 * (tube.wall + leg)
    tip = (max(length, 0.0) + 1.5 * TUNGSTEN) * sin(angle)
    up, down = max(2.2 * leg, tip), min(flange.thickness, 3.0 * leg) * 1.15
    reach = max(1.8 * leg, 1.4 * aim, aim + (length + TUNGSTEN) * cos(angle))
    scale = _scale(frame, reach + beside - inner, up + down)
    k = scale * 1e3 * MM
    spare = (frame[3] - frame[1]) - k * (up + down)
    origin = frame[0] + k * (beside - inner), frame[3] - k * down - 0.3 * spare
    view = _View(page, *frame, scale, origin)

    gap = lap.clearance
    rim = 0.5 * flange.outside_diameter - tube.radius
    view.block((gap, rim), (-flange.thickness, 0.0), "\\\\\\")
    view.block((-tube.wall, 0.0), (-lap.depth, tube.length), "///")
    page.shape([view(0.0, 0.0), view(leg, 0.0), view(0.0, leg)], fill="0.75")
    if not view.inside(-0.5 * tube.wall, tube.length):
        view.broken(view(-tube.wall, inf), view(0.0, inf))
    if not view.inside(rim, -1e-6):
        view.broken(view(rim, 0.0), view(rim, -flange.thickness))
    if not view.inside(gap + 1e-6, -flange.thickness):
        view.broken(view(gap, -flange.thickness), view(rim, -flange.thickness))
    if not view.inside(-0.5 * tube.wall, -lap.depth):
        view.broken(view(-tube.wall, -lap.depth), view(0.0, -lap.depth))
    if chill is not None:
        half = 0.5 * chill.length
        back = -tube.wall - chill.wall
        view.block((back, -tube.wall), (-half, half), "xxx")
        if not view.inside(back, 0.0):
            view.broken(view(back, half), view(back, -half))

    # what the axis meets first of the bare joint
    foot = (aim, 0.0) if aim >= 0.0 else (0.0, -aim * tan(angle))
    point = _torch(view, foot, angle, length)
    page.path([view(aim, 0.0), view(*foot)], 0.7, dash="-.")
    page.measure(view(-tube.wall, 1.7 * leg), view(0.0, 1.7 * leg))
    deep = view(0.8 * reach, -flange.thickness)
    page.measure(view(0.8 * reach, 0.0), deep)
    swing = 0.75 * k * max(length, leg)
    at = view(aim, 0.0)
    turn = [(at[0] + swing * cos(t * angle / 12), at[1] - swing * sin(t * angle / 12))
            for t in range(13)]  # fmt: skip
    turn = [(min(x, view.right), y) for x, y in turn]
    page.path(turn, 0.6)
    if aim:
        page.measure(view(0.0, -0.12 * leg), view(aim, -0.12 * leg))

    low = view(0.8 * reach, -0.5 * down)
    shared = min(lap.depth, down)
    labels = [
        _Label("tube", f"Ø {values('tube.outside_diameter')}", view(-0.5 * tube.wall, 2.6 * leg)),
        _Label("wall", values("tube.wall"), view(-tube.wall, 1.7 * leg)),
        _Label("free length", values("tube.length"), view(-tube.wall, leg)),
        _Label("radial gap", values("lap.clearance"), view(0.5 * gap, -0.35 * shared)),
        _Label("lap depth", values("lap.depth"), view(-0.5 * tube.wall, -0.7 * shared)),
        _Label("arc", values(_arc_key(case)), _middle(view(*foot), point), "right"),
        _Label("torch", values("arc.work_angle"), turn[4], "right"),
        _Label("fillet leg", values("fillet.leg"), view(0.6 * leg, 0.2 * leg), "right"),
        _Label("aim", values("arc.aim"), at, "right"),
        _Label("thickness", values("flange.thickness"), low, "right"),
        _Label(
            "flange", f"Ø {values('flange.outside_diameter')}", view(reach, -0.8 * down), "right"
        ),
    ]
    if chill is not None:
        alloy = values("fixture.chill_alloy")
        labels.append(_Label("chill", alloy, view(0.6 * inner - 0.4 * tube.wall, 0.5 * leg)))
    return view, labels


def _arc_key(case: Case) -> str:
    return "arc.voltage" if case.arc.length is None else "arc.length"


def _middle(one: Point, other: Point) -> Point:
    return 0.5 * (one[0] + other[0]), 0.5 * (one[1] + other[1])


def _bead(
    page: Page, case: Case, values: Values, frame: tuple[float, float, float, float]
) -> tuple[_View, list[_Label]]:
    """Draw the wall of a plain tube upright, the torch square to it."""
    tube, arc = case.tube, case.arc
    length = arc.length or USUAL_ARC
    reach = length + 3.0 * TUNGSTEN
    scale = _scale(frame, reach + 1.5 * tube.wall, 4.0 * tube.wall)
    k = scale * 1e3 * MM
    origin = frame[0] + 1.3 * k * tube.wall, 0.5 * (frame[1] + frame[3])
    view = _View(page, *frame, scale, origin)
    half = 0.5 * tube.length
    view.block((-tube.wall, 0.0), (-half, half), "///")
    for end in (half, -half):
        if not view.inside(-0.5 * tube.wall, end):
            view.broken(view(-tube.wall, end), view(0.0, end))
    point = _torch(view, (0.0, 0.0), 0.0, length)
    quarter = 0.25 * (frame[3] - frame[1]) / k
    page.measure(view(-tube.wall, quarter), view(0.0, quarter))
    return view, [
        _Label("wall", values("tube.wall"), view(-tube.wall, quarter)),
        _Label("tube", f"Ø {values('tube.outside_diameter')}", view(-0.5 * tube.wall, -quarter)),
        _Label("whole length", values("tube.length"), view(-tube.wall, 0.0)),
        _Label("torch", "90 deg", view(length + 2.0 * TUNGSTEN, 0.5 * TUNGSTEN), "right"),
        _Label("arc", values(_arc_key(case)), _middle(origin, point), "right"),
    ]
