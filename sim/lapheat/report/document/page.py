"""The report put together: numbers and pictures into the template."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ...case.faults import printable
from ...case.file import case_to_toml, digest_of
from ...history.records import History
from ...outcomes.outcomes import Outcomes
from ...outcomes.sentence import notes_of, sentence, sentences_of
from ...outcomes.wording import Wording
from ..sentences import UNCERTAINTY, hand_by_segment, hand_told
from ..soundness import soundness_rows
from ..studied import chance_of, levers_of
from .sources import alloy_sources, givens_of
from .tables import tables_of
from .template import rendered

if TYPE_CHECKING:
    from ...outcomes.convergence import Convergence

__all__ = ["report_html"]

CAPTIONS = {
    "peaks": "Peak temperature of each surface over the whole run, unrolled round the ring.",
    "histories": "Temperature against time at each segment's start point and at each probe.",
    "section": "Section through the hottest spot of the base at the instant it was hottest.",
    "schedule": "When each segment was laid, when the arc was on, and its current.",
    "current": "Current of the pedal and hottest base while the arc was on.",
}


def report_html(
    history: History,
    outcomes: Outcomes,
    pictures: Sequence[Path],
    day: str,
    convergence: Convergence | None = None,
) -> str:
    """Write the report of a run.

    Parameters
    ----------
    history, outcomes : the run
    pictures : PNG files that go into it
    day : on which it is made
    convergence : the same case on three meshes, if it was computed

    Returns
    -------
    html : one whole file; it asks for nothing from elsewhere
    """
    case, words = history.case, Wording.of(history.case)
    judgement = outcomes.verdict.judgement
    return rendered(
        __package__,
        "report.html.jinja",
        title=printable(case.title),
        day=day,
        digest=digest_of(case),
        file=printable(Path(case.file).name),
        verdict=outcomes.verdict,
        filler=outcomes.filler is not None,
        sentences=[printable(sentence(told)) for told in sentences_of(judgement, words)],
        notes=[printable(sentence(told)) for told in notes_of(judgement, words)],
        chance=chance_of(case),
        levers=levers_of(case),
        convergence=convergence,
        uncertainty=UNCERTAINTY,
        figures=[
            (path.stem, CAPTIONS.get(path.stem, path.stem), b64encode(path.read_bytes()).decode())
            for path in pictures
        ],
        soundness=list(soundness_rows(case, outcomes, words)),
        unknown=[printable(told) for told in outcomes.soundness.notes],
        hand=[
            *(sentence(f"{name}: {told}") for name, told in hand_told(history, words)),
            *hand_by_segment(history),
        ],
        tables=tables_of(outcomes, case.display),
        assumed=[printable(told) for told in (*case.assumed, *outcomes.alloys.held)],
        givens=list(givens_of(case)),
        alloys=[(printable(name), alloy_sources(alloy)) for name, alloy in case.alloys.items()],
        toml=case_to_toml(case),
    )
