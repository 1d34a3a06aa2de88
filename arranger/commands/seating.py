"""``ensemble``: a set of parts for several harps from one source, and who takes what."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from arranger.commands.converting import drafted, semitones_of
from arranger.commands.delivery import delivered, heading
from arranger.commands.opening import Opened, open_to_arrange, settings_of
from arranger.commands.request import Progress, Request, Result
from arranger.commands.taking import Taken
from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_tree import parse
from arranger.io.musicxml_write import write
from arranger.model.diagnostic import Diagnostic
from arranger.model.errors import ChoiceError
from arranger.model.score import NoteId
from arranger.options.matching import match
from arranger.passes import keys
from arranger.passes.pipeline import weighed
from arranger.passes.settings import Settings
from arranger.passes.start import start
from arranger.plan.recall import Recall
from arranger.plan.shares import Line, crowding, lines_of, shares
from arranger.report.json_report import SCHEMA

_SEAT = re.compile(r"([^:=]+)(?::([^:=]+))?(?:=(.+))?")


@dataclass(frozen=True, slots=True)
class Seat:
    """One player's place: harp, player, and the lines that are given by name."""

    harp: str
    player: str
    lines: tuple[str, ...] = ()

    @classmethod
    def of(cls, text: str) -> Seat:
        """Read ``HARP``, ``HARP:PLAYER`` or either with ``=LINE,LINE``; ChoiceError if neither."""
        found = _SEAT.fullmatch(text.strip())
        if found is None:
            raise ChoiceError(f"--seat {text}: give HARP, HARP:PLAYER or HARP:PLAYER=LINE,LINE")
        lines = tuple(name.strip() for name in (found[3] or "").split(",") if name.strip())
        return cls(found[1].strip(), (found[2] or "average").strip(), lines)


def ensemble(request: Request, folder: Path | None = None,
             progress: Progress = lambda _: None) -> Result:
    """Share the music between the seats and make the part of each.

    Every line costs each seat what its draft alone would cost, and lines that strike together
    crowd a seat; nobody has two lines more than another.

    Raises
    ------
    SourceError, ChoiceError, RuleError
        Unusable source, part, seat, harp or player; one line each.

    Examples
    --------
    >>> found = ensemble(Request(Path("corpus/the-mill-race/score.musicxml"), page=False,
    ...                          seats=("pedal-47", "lever-34:student")))
    >>> [(seat["harp"], seat["lines"], seat["errors"]) for seat in found.report["seats"]]
    [('pedal-47', ['top', 'bass'], 0), ('lever-34', ['upper', 'lower'], 0)]
    """
    seats = [Seat.of(text) for text in request.seats]
    if len(seats) < 2:
        raise ChoiceError("name at least two seats, such as --seat pedal-47 "
                          "--seat lever-34:student, or --harps 2")
    requests = [replace(request, harp=s.harp, player=s.player) for s in seats]
    settings = [settings_of(each) for each in requests]
    progress("reading the score")
    opened = _in_key(request, settings)
    score, part = opened.document.score, opened.part
    lines = lines_of(score.part_notes(part), opened.ensemble)
    if len(lines) < len(seats):
        raise ChoiceError(f"the music has {len(lines)} lines ({_named(lines)}), too few for "
                          f"{len(seats)} seats")
    given = _given(seats, lines)
    costs = []
    for line in lines:
        progress(f"trying {line.name} at every seat")
        notes = tuple(n for n in score.notes if n.part != part or n.id in line.notes)
        costs.append([weighed(replace(score, notes=notes), part, each, Recall()).total
                      for each in settings])
    taken = shares(costs, given, crowding(lines, score.part_notes(part)))
    idle = set(range(len(seats))) - set(taken)
    if idle:
        raise ChoiceError(f"nothing is left for seat {min(idle) + 1}; give fewer lines by name")
    made: list[tuple[str, Sequence[Line], Result]] = []
    for at, (each, mine) in enumerate(zip(requests, settings, strict=True)):
        held = [line for line, seat in zip(lines, taken, strict=True) if seat == at]
        name = f"{at + 1}-{mine.harp.name}"
        progress(f"arranging the part of seat {at + 1}")
        made.append((name, held, _part(each, mine, opened, frozenset().union(
            *(line.notes for line in held)))))
    return _set(request, opened, seats, made, folder)


def _in_key(request: Request, settings: Sequence[Settings]) -> Opened:
    """Open the source in the key asked for; the best is that of the harps with levers together."""
    opened = open_to_arrange(request)
    if request.transpose != "best":
        semitones = semitones_of(request.transpose)
        return open_to_arrange(request, semitones) if semitones else opened
    levers = [s for s in settings if s.harp.mechanism == "lever"] or list(settings)
    lost: Counter[int] = Counter()
    moves: Counter[int] = Counter()
    for each in levers:
        for key in keys.advice(opened.document.score, opened.part, each):
            lost[key.semitones] += key.lost + key.outside
            moves[key.semitones] += key.moves
    best = min(moves, key=lambda n: (lost[n], moves[n], abs(n), n))
    return open_to_arrange(request, best) if best else opened


def _named(lines: Sequence[Line]) -> str:
    return ", ".join(line.name for line in lines)


def _given(seats: Sequence[Seat], lines: Sequence[Line]) -> dict[int, int]:
    """Lines asked for by name: line to seat."""
    known = {line.name.casefold(): at for at, line in enumerate(lines)}
    found: dict[int, int] = {}
    for at, seat in enumerate(seats):
        for name in seat.lines:
            if name.casefold() not in known:
                raise ChoiceError(f"--seat: no line is called {name!r}; the lines are: "
                                  f"{_named(lines)}")
            if found.setdefault(known[name.casefold()], at) != at:
                raise ChoiceError(f"--seat: {name} is given to two seats")
    return found


def _part(request: Request, settings: Settings, opened: Opened,
          notes: frozenset[NoteId]) -> Result:
    """The draft of one seat, made as if its notes were the source."""
    alone = _alone(opened, notes)
    score = alone.document.score
    chosen = Taken(settings, match((), score, alone.part, settings.harp), ease=request.ease)
    return drafted("convert", request, chosen, alone, chosen.arranged(alone), None, lambda _: None)


def _alone(opened: Opened, notes: frozenset[NoteId]) -> Opened:
    """The source with only these notes in its harp part."""
    whole = start(opened.document.score, opened.part)
    mine = replace(whole, notes=tuple(n for n in whole.notes if n.id in notes))
    xml = write(opened.document, mine, fingering="none", pedals="none", layout=False)
    harp_part = as_harp_part(parse(xml, opened.document.name), (opened.part,))
    document = read(harp_part.root, opened.document.name)
    score = replace(document.score, tempo=opened.document.score.tempo)
    return replace(opened, document=replace(document, score=score), ensemble=None, doubled=(),
                   harp_part=replace(harp_part, removed=opened.harp_part.removed))


def _set(request: Request, opened: Opened, seats: Sequence[Seat],
         made: Sequence[tuple[str, Sequence[Line], Result]], folder: Path | None) -> Result:
    """The report of the set, with the files of all parts."""
    score, part = opened.document.score, opened.part
    sounding = {(n["onset"], n["midi"]) for _, _, r in made for n in r.report["notes"]}
    source = [n for n in score.part_notes(part) if not n.grace]
    lost = [n for n in source if (str(n.onset), n.midi) not in sounding]
    errors: list[Diagnostic] = [d for _, _, r in made for d in r.errors]
    told = heading("ensemble", request, opened)
    settings = {k: v for k, v in told.settings.items() if k not in ("harp", "player")}
    body: dict[str, Any] = {
        "schema": SCHEMA, "command": "ensemble", "source": told.source(),
        "settings": settings | ({"transpose": opened.semitones} if opened.semitones else {}),
        "seats": [_seat(at, seat, *one) for at, (seat, one) in enumerate(
            zip(seats, made, strict=True), 1)],
        "lost": [{"id": n.id, "name": n.pitch.name, "midi": n.midi, "onset": str(n.onset),
                  "bar": (where := score.locate(n.onset, n.measure)).bar, "beat": str(where.beat)}
                 for n in lost],
        "summary": {"source_notes": len(source), "lost": len(lost), "errors": len(errors)}}
    files: Mapping[str, bytes] = {
        f"{name}{_ENDINGS[kind]}": content for name, _, r in made
        for kind, content in r.files.items() if kind in _ENDINGS}
    return delivered(body, files, errors, folder)


#: Files of a draft that a set has of every seat, and what their names end in there.
_ENDINGS: Mapping[str, str] = {"draft.musicxml": ".musicxml", "report.json": ".json",
                               "report.html": ".html", "draft.mid": ".mid", "part.pdf": ".pdf"}


def _seat(number: int, seat: Seat, name: str, held: Sequence[Line],
          result: Result) -> dict[str, Any]:
    figures = result.report["summary"]
    kinds = Counter(e["kind"] for e in result.report["ledger"] if e["fidelity"] != "same-sound")
    return {"seat": number, "harp": seat.harp, "player": seat.player,
            "lines": [line.name for line in held], "notes": figures["source_notes"],
            "notes_kept": figures["notes_kept"], "changed": dict(sorted(kinds.items())),
            "moves": figures.get("lever_moves", figures.get("pedal_moves")),
            "errors": figures["errors"], "file": f"{name}.musicxml"}
