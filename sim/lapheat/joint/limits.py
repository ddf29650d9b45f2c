"""What a case asks of its mesh that cannot be run: too many cells, a tack its arc cannot melt.

Both need the mesh lines, so they are refused where lines are made and not where a case is read.
"""

from __future__ import annotations

from collections.abc import Iterator

from ..case.case import Case, tacked_layers
from ..case.faults import CaseError, Fault, shown

__all__ = ["LARGEST_MESH", "refuse_unrunnable"]

LARGEST_MESH = 6_000_000  # cells
BYTES_PER_CELL = 200  # of a compiled march


def refuse_unrunnable(case: Case, layers: int, cells: int) -> None:
    """Raise what is wrong with a case once its mesh is known.

    Parameters
    ----------
    case : as it was read
    layers, cells : round the ring, and of the whole ring

    Raises
    ------
    CaseError
        The mesh is too large, or the arc of a tack is too weak to melt the tack's rod.
    """
    faults = [*_too_large(case, cells), *_cold_tacks(case, layers)]
    if faults:
        raise CaseError(faults)


def _too_large(case: Case, cells: int) -> Iterator[Fault]:
    if cells <= LARGEST_MESH:
        return
    given = case.written.get("arc.spot")
    yield Fault(
        case.file,
        "arc.spot",
        shown(given) if given else f"nothing; the default is {1e3 * case.arc.spot:.4g} mm",
        f"a spot and dimensions that a mesh of at most {LARGEST_MESH:,} cells resolves; "
        f"at detail {case.detail} this one needs {cells:,} cells, "
        f"about {cells * BYTES_PER_CELL / 1e9:.1f} GB",
        "a wider spot, a coarser detail, or a smaller part",
    )


def _cold_tacks(case: Case, layers: int) -> Iterator[Fault]:
    for number, tack in enumerate(case.tacks, 1):
        if tack.current is None or tack.time is None or case.fillet is None:
            continue
        laid = len(tacked_layers(tack, layers, case.tube.radius)) / layers
        seconds = laid * case.tube.circumference / case.travel.speed
        # the rod melts in the second half of the tack's time
        needed = 2.0 * case.rod_power * seconds / tack.time
        power = case.arc.power_at(tack.current)
        if power <= needed:
            key = f"tack[{number}].time"
            yield Fault(
                case.file,
                key,
                shown(case.written.get(key, f"{tack.time:g} s")),
                f"an arc that can melt the tack's rod: {needed:.0f} W go into the filler in the "
                f"second half of this time, and {power:.0f} W enter the work",
                "a longer time, more current, or a shorter tack",
            )
