"""Choices that are in force in a run: from ``--take``, from a file, and how they fared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from arranger.commands.opening import Opened
from arranger.commands.request import Progress, Request
from arranger.io.choices_file import choices_text, read_choices
from arranger.io.part_fingers import written_fingers
from arranger.io.part_marks import read_marks
from arranger.model.choice import Choice
from arranger.model.draft import Draft
from arranger.model.errors import ChoiceError
from arranger.model.pins import Pins
from arranger.model.score import bar_name
from arranger.options.honoured import broken, conflicts, with_reasons
from arranger.options.matching import Matched, Placed, match
from arranger.options.present import loosened, present_pins, with_marks
from arranger.passes.ease import arrange_within
from arranger.passes.settings import Settings
from arranger.plan.recall import Recall


@dataclass(frozen=True, slots=True)
class Taken:
    """Settings with the pins of all choices, and the choices as they stand in the score.

    ``present``: the solution of a harp part that is kept as it is, else None. ``ease``: its budget.
    """

    settings: Settings
    matched: Matched
    present: Pins | None = None
    file: Path | None = None
    ease: int = 0

    def arranged(self, opened: Opened, progress: Progress = lambda _: None,
                 recall: Recall | None = None) -> Draft:
        """Arrange the part under the choices; its ledger names them as reasons.

        ``recall``: takes in what the first look at the score finds, to weigh options with.
        """
        settings = opened.arranging(self.settings)
        draft = arrange_within(opened.document.score, opened.part, settings, self.ease, progress,
                               recall)
        return with_reasons(draft, self.matched.placed)


def take(request: Request, opened: Opened, settings: Settings) -> Taken:
    """Find the choices of a request in its score.

    Without ``--choices`` the file ``NAME.choices.toml`` beside the source counts, if there is one.

    Raises
    ------
    ChoiceError
        The file is wrong, or an option that was asked for is about no note of this score.
    """
    score, part, harp = opened.document.score, opened.part, settings.harp
    file = choices_path(request)
    given = read_choices(file) if file else ()
    asked_for = [named(text) for text in request.take]
    asked = match(asked_for, score, part, harp)
    if asked.lost:
        lost = asked.lost[0]
        raise ChoiceError(f"--take {lost.id}: there is no such note; arranger options lists what "
                          f"can be taken")
    found = match(given, score, part, harp)
    matched = Matched((*found.placed, *asked.placed), found.lost,
                      (*found.impossible, *asked.impossible))
    pins = matched.pins
    if not request.part_is_harp:
        return Taken(replace(settings, pins=pins), matched, None, file, request.ease)
    present = with_marks(
        present_pins(score, part, harp, written_fingers(opened.document, part)),
        read_marks(opened.document.root, part, score).pedals)
    base = loosened(present, score, part, harp, pins).plus(pins)
    return Taken(replace(settings, pins=base), matched, present, file)


def named(text: str, option: str = "--take") -> Choice:
    """Read the id of an option given with ``option``; ChoiceError if it is none."""
    try:
        return Choice.parse(text)
    except ValueError as error:
        raise ChoiceError(f"{option}: {error}; arranger options lists what can be taken") from error


def choices_path(request: Request) -> Path | None:
    """The choices file of a request: the one named, else the one beside the source, if any."""
    if request.choices is not None:
        return request.choices
    beside = request.source.with_name(f"{request.source.stem}.choices.toml")
    return beside if beside.is_file() else None


def fared(taken: Taken, opened: Opened, draft: Draft) -> dict[str, Any]:
    """What the report says of choices; empty where none was made.

    ``not_kept`` holds a sentence for every choice that was not honoured, with the smallest set of
    others that excludes it.
    """
    matched = taken.matched
    if not (matched.placed or matched.lost or matched.impossible):
        return {}
    fault = broken(draft, matched.placed)
    score, part = opened.document.score, opened.part
    said = (conflicts(score, part, taken.settings, matched, fault, taken.present)
            if fault else [])
    said += [f"{choice.words}: {why}" for choice, why in matched.impossible]
    return {"file": taken.file.name if taken.file else "",
            "kept": [p.choice.id for p in matched.placed if p not in fault],
            "not_kept": said,
            "moved": [f"{p.before.words}: now in {bar_name(p.choice.bar)}, beat {p.choice.beat}"
                      for p in matched.placed if p.before],
            "not_found": [f"{c.words}: no longer found in this edition" for c in matched.lost]}


def choices_file(taken: Taken, request: Request) -> Mapping[str, bytes]:
    """The file of all choices as they now stand, to be kept beside the score.

    Choices that were not found stand unchanged at the end: a later edition may know them again.
    """
    matched = taken.matched
    told = [*_in_order(matched.placed), *(c for c, _ in matched.impossible), *matched.lost]
    if not told:
        return {}
    return {f"{request.source.stem}.choices.toml": choices_text(told).encode()}


def _in_order(placed: tuple[Placed, ...]) -> list[Choice]:
    """Choices as given, each once."""
    return list(dict.fromkeys(p.choice for p in placed))
