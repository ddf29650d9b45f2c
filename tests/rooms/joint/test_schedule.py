"""Orders of segments, and where each segment runs and lays."""

from __future__ import annotations

from math import pi

import pytest

from lapheat.joint.schedule import order_of, schedule_of, spelled_order, zero_of
from support.joints import case_of


def test_orders_of_eight() -> None:
    assert order_of("in-turn", 8) == (1, 2, 3, 4, 5, 6, 7, 8)
    assert order_of("opposite", 8) == (1, 5, 2, 6, 3, 7, 4, 8)
    assert order_of("quarters", 8) == (1, 5, 3, 7, 2, 6, 4, 8)
    assert order_of((3, 1), 8) == (3, 1)
    for name in ("opposite", "quarters"):
        for count in range(1, 30):
            assert sorted(order_of(name, count)) == list(range(1, count + 1))


def test_an_order_is_spelled_out_number_by_number() -> None:
    assert spelled_order(case_of("travel.order=opposite")) == "opposite: 1, 5, 2, 6, 3, 7, 4, 8"
    part = case_of("travel.order=quarters", "travel.coverage=0.5")
    assert spelled_order(part) == "quarters: 1, 5, 3, 7"
    assert spelled_order(case_of("travel.order=[1,3,5,7,2,4,6,8]")) == "1, 3, 5, 7, 2, 4, 6, 8"


def test_overlap_runs_over_what_is_laid_only() -> None:
    case = case_of("travel.overlap=2 mm")
    plan = schedule_of(case, 8 * 16)
    over = 0.002 / case.tube.radius
    first, second, last = plan.segments[0], plan.segments[1], plan.segments[-1]
    assert (first.run_from, first.run_to) == (first.lay_from, first.lay_to)
    assert second.lay_from - second.run_from == pytest.approx(over)
    assert last.run_to - last.lay_to == pytest.approx(over)  # closes onto segment 1
    back = schedule_of(case_of("travel.overlap=2 mm", "travel.order=backstep"), 8 * 16).segments
    assert [s.direction for s in back] == [-1] * 8
    assert back[1].lay_to - back[1].run_to == pytest.approx(over)


@pytest.mark.parametrize(
    ("order", "zero"),
    [("opposite", "first start point"), ("[2,1,3,4,5,6,7,8]", "start of segment 1"),
     ("backstep", "end of segment 1")],
)  # fmt: skip
def test_angle_0_is_named_by_what_the_arc_does_there(order: str, zero: str) -> None:
    case = case_of(f"travel.order={order}")
    named, way = zero_of(case)
    assert named == zero
    runs = schedule_of(case, 8 * 16).segments
    (one,) = (run for run in runs if run.number == 1)
    assert (one.run_from == 0.0) is ("start" in zero)
    assert (one is runs[0] and one.run_from == 0.0) is ("first" in zero)
    assert (one.run_to > one.run_from) is (way == "in the direction of travel")


def test_quarters_and_ties() -> None:
    """Of numbers equally near the lower one is run; whole turns are taken round the ring."""
    assert order_of("quarters", 10) == (1, 6, 3, 8, 2, 7, 4, 9, 5, 10)
    assert order_of("opposite", 5) == (1, 3, 2, 4, 5)
    assert order_of("opposite", 1) == (1,)
    with pytest.raises(ValueError, match="unknown order 'sideways'"):
        order_of("sideways", 4)


@pytest.mark.parametrize(("share", "laid"), [("1", 8), ("0.5", 4), ("0.3", 2), ("0.001", 1)])
def test_segments_share_the_ring_and_its_layers(share: str, laid: int) -> None:
    case = case_of(f"travel.coverage={share}")
    plan = schedule_of(case, 8 * 16)
    assert (plan.count, len(plan.segments)) == (8, laid)
    assert plan.rate == pytest.approx(0.003 / 0.010)  # 3 mm/s on a tube of 20 mm
    for n, segment in enumerate(plan.segments):
        assert segment.number == n + 1
        assert (segment.lay_from, segment.lay_to) == pytest.approx((n * pi / 4, (n + 1) * pi / 4))
        assert (segment.first_layer, segment.last_layer) == (16 * n, 16 * (n + 1))
        assert segment.direction == 1
        assert (segment.run_from, segment.run_to) == (segment.lay_from, segment.lay_to)


def test_a_run_goes_over_its_neighbours_filler_only_where_that_lies() -> None:
    case = case_of("travel.overlap=2 mm", "travel.order=[1, 8, 3, 5, 2, 4, 6, 7]")
    over = 0.002 / case.tube.radius
    for segment, before, after in zip(
        schedule_of(case, 8 * 16).segments, "00001111", "01001101", strict=True
    ):
        assert segment.lay_from - segment.run_from == pytest.approx(int(before) * over)
        assert segment.run_to - segment.lay_to == pytest.approx(int(after) * over)
