"""Easier drafts of real scores: each level's notes are notes of the next, and none is harder."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from arranger.checks.account import faults
from arranger.commands.opening import open_to_arrange, settings_of
from arranger.commands.request import Request
from arranger.model.draft import Draft
from arranger.passes.ease import arrange_within
from arranger.plan.slices import slices
from arranger.rulebook.reduction import load_reduction
from tests.ensembles import cut
from tests.evaluate import scores

DATA = Path(__file__).parents[2] / "shared" / "data"
DEMOS = sorted((Path(__file__).parents[1] / "corpus").glob("*/score.musicxml"))
BARS = 6


def difficulty(draft: Draft) -> tuple[int, int, float]:
    """Notes, the most struck at once, and the most attacks within a second."""
    here = slices([n for n in draft.notes if not n.source.grace], draft.source.tempo)
    seconds = [s.seconds for s in here]
    fullest = max((sum(at <= t < at + 1.0 for t in seconds) for at in seconds), default=0)
    return len(draft.notes), max((len(s.notes) for s in here), default=0), fullest


@pytest.mark.parametrize("path", [*DEMOS, *scores(DATA / "ensemble")] if DATA.is_dir() else DEMOS,
                         ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_levels_are_nested_and_never_harder(path: Path, tmp_path: Path) -> None:
    request = Request(cut(path, tmp_path / "score.musicxml", BARS), parts=("all",), page=False)
    opened = open_to_arrange(request)
    settings = opened.arranging(settings_of(request))
    levels = [arrange_within(opened.document.score, opened.part, settings, ease)
              for ease in (1, 2, 3, 4, 5, 0)]
    for draft in levels:
        assert not faults(draft)
    for easier, harder in pairwise(levels):
        assert {(n.onset, n.pitch.pitch_class) for n in easier.notes} <= {
            (n.onset, n.pitch.pitch_class) for n in harder.notes}
        assert all(a <= b for a, b in zip(difficulty(easier), difficulty(harder), strict=True))
    for level, draft in enumerate(levels[:5], 1):
        assert difficulty(draft)[1] <= load_reduction().budget(level).together
