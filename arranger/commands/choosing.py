"""``options``: risky spots with real alternatives and their price, and whole drafts."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from arranger.commands.converting import drafted, transposed, written
from arranger.commands.opening import settings_of
from arranger.commands.request import Progress, Request, Result
from arranger.commands.taking import named, take
from arranger.model.draft import Draft
from arranger.model.errors import ChoiceError
from arranger.model.score import Location, Score
from arranger.options.drafts import WholeDraft, whole_drafts
from arranger.options.ideas import Idea
from arranger.options.matching import match
from arranger.options.spots import Spot, spots
from arranger.options.weigh import Outcome, Scales, Weighed
from arranger.plan.recall import Recall
from arranger.report.json_report import entries

#: Spots looked at: of a whole conversion, and of 100 bars of a part that is kept.
MOST, MOST_OF_A_PART = 8, 5


def options(request: Request, folder: Path | None = None,
            progress: Progress = lambda _: None) -> Result:
    """Look at the risky spots of a draft, or of a harp part as it is, and at what else would do.

    Parameters
    ----------
    request : the score, for which harp and player, what is chosen already, and which bars.
    folder : where the draft, other whole drafts and report.json go; None writes nothing.
    progress : is told each stage of the work in a few words.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, harp, player, choices or bars; one line each.

    Examples
    --------
    >>> score = Path("corpus/the-mill-race/score.musicxml")
    >>> result = options(Request(score, bars="1-4", page=False))
    >>> sorted({spot["bar"] for spot in result.report["spots"]})
    ['1', '3']
    >>> "cost_change" in result.report["spots"][0]["options"][0]
    True
    """
    settings = settings_of(request)
    progress("reading the score")
    opened = transposed(request, settings, progress)
    chosen = take(request, opened, settings)
    recall = Recall()
    draft = chosen.arranged(opened, progress, recall)
    score = opened.document.score
    usual = opened.arranging(chosen.settings)
    scales = Scales(draft, replace(usual, pins=chosen.matched.pins), chosen.present,
                    recall=recall)
    if request.what_if:
        more = {"spots": [_what_if(request.what_if, scales)], "drafts": []}
        return drafted("options", request, chosen, opened, draft, folder, progress, more)
    found = spots(draft, settings, bars_of(request.bars, score))
    if not request.bars:
        found = found[:_most(score) if request.part_is_harp else MOST]
    weighed = []
    for rank, spot in enumerate(found, 1):
        progress(f"weighing spot {rank} of {len(found)}: {spot.where}")
        weighed.append(scales.weigh(spot))
    if request.part_is_harp:
        weighed.sort(key=lambda w: -w.gain)
    whole = () if request.part_is_harp or request.bars else whole_drafts(
        draft, usual, progress)
    if len(whole) < 2:  # the draft itself, and nothing to compare it with
        whole = ()
    more = {"spots": [spot_entry(w, draft) for w in weighed],
            "drafts": [draft_entry(d) for d in whole]}
    files = {_file(d): written(request, usual, opened, d.draft)[0] for d in whole if d.weighting}
    return drafted("options", request, chosen, opened, draft, folder, progress, more, files)


def _what_if(text: str, scales: Scales) -> dict[str, Any]:
    """One named change at one place, as a spot with this one option.

    Raises
    ------
    ChoiceError
        It names no note, or cannot be done there.
    """
    draft, harp = scales.shop.draft, scales.shop.settings.harp
    asked = match([named(text, "--what-if")], draft.source, draft.part, harp)
    if asked.lost:
        raise ChoiceError(f"--what-if {text}: there is no such note")
    done = [scales.carried_out(Idea(p, p.choice.words)) for p in asked.placed]
    if not done or done[0] is None:
        why = "; ".join(w for _, w in asked.impossible) or "it cannot be done, or is so already"
        raise ChoiceError(f"--what-if {text}: {why}")
    place = asked.placed[0]
    note = next((n for n in draft.source.part_notes(draft.part) if n.id == place.note), None)
    onset = note.onset if note else place.pins.pedals[0].onset
    return {"id": text, **_place(draft.source.locate(onset)), "risk": 0,
            "notes": [note.id] if note else [], "again": [], "options": [_option(done[0])],
            "findings": [{"code": "what-if", "message": "what this change would cost", "weight": 0,
                          "notes": []}]}


def _file(whole: WholeDraft) -> str:
    return f"draft-{whole.id}.musicxml" if whole.weighting else "draft.musicxml"


def draft_entry(whole: WholeDraft) -> dict[str, Any]:
    """A whole draft as it stands in the report."""
    weights = dict(whole.weighting.factors) if whole.weighting else {}
    return {"id": whole.id, "title": whole.title, "weights": weights,
            "why": whole.weighting.why if whole.weighting else "the draft itself",
            "cost": {**whole.draft.cost, "total": whole.draft.total},
            "summary": whole.measures.told() | {"alterations": len(whole.draft.ledger.entries)},
            "file": _file(whole)}


def _most(score: Score) -> int:
    return max(1, MOST_OF_A_PART * -(-len(score.measures) // 100))


def bars_of(text: str, score: Score) -> tuple[int, int] | None:
    """First and last bar, counted from 1, of printed bars such as ``12-20``; None for none.

    Raises
    ------
    ChoiceError
        There are no such bars.
    """
    if not text:
        return None
    first, _, last = text.partition("-") if re.fullmatch(r"\w+(-\w+)?", text) else ("", "", "")
    numbers = [m.number for m in score.measures]
    if first not in numbers or (last or first) not in numbers:
        raise ChoiceError(f"no bars {text!r}; write printed numbers from {numbers[0]} to "
                          f"{numbers[-1]} as 12-20")
    begin = numbers.index(first)
    if last and last not in numbers[begin:]:
        raise ChoiceError(f"bars {text!r} run backwards; write the first bar first, as 12-20")
    end = numbers.index(last, begin) if last else begin
    return begin + 1, end + 1


def spot_entry(weighed: Weighed, draft: Draft) -> dict[str, Any]:
    """A spot as it stands in the report."""
    spot = weighed.spot
    return {"id": spot.id, **_place(spot.where), "risk": spot.weight,
            "notes": list(spot.notes),
            "findings": _findings(spot),
            "again": [_place(w) for w in spot.again],
            "options": [_option(o) for o in weighed.outcomes]}


def _findings(spot: Spot) -> list[dict[str, Any]]:
    return [{"code": r.kind, "message": r.sentence, "weight": r.weight, "notes": list(r.notes)}
            for r in spot.risks]


def _option(outcome: Outcome) -> dict[str, Any]:
    return {"id": outcome.idea.choice.id, "title": outcome.idea.title,
            "cost_change": outcome.cost_change, "terms": outcome.terms,
            "fidelity": outcome.fidelity, "knock_on": list(outcome.knock_on),
            "ledger": entries(outcome.draft, outcome.ledger.entries)}


def _place(where: Location) -> dict[str, Any]:
    return {"bar": where.bar, "bar_index": where.bar_index, "beat": str(where.beat),
            "onset": str(where.onset)}


