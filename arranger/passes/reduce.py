"""Several parts become one: whole parts leave a phrase before the planner weighs single notes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.ensemble import Ensemble, PartId
from arranger.model.ledger import Alteration, Drop
from arranger.model.score import Note, NoteId
from arranger.passes.settings import Settings
from arranger.plan.part_roles import PartRole, part_roles
from arranger.plan.phrases import phrases
from arranger.plan.repeated import too_fast
from arranger.plan.roles import Role, roles
from arranger.plan.staffing import hands_of_lines
from arranger.rulebook.reduction import Reduction, load_reduction

STAGE = "reduction"
Lines = Mapping[PartId, tuple[HarpNote, ...]]


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A phrase: the notes each part has in it, and the parts' roles."""

    lines: Lines
    roles: Mapping[PartId, PartRole]


@dataclass(frozen=True, slots=True)
class _Scene:
    """What every step needs to know."""

    ensemble: Ensemble
    rules: Reduction
    outer: Mapping[NoteId, Role]

    def leads(self, note: HarpNote) -> bool:
        """Tell whether the note is the highest or lowest at some moment."""
        role = self.outer[note.id]
        return bool(role.tune or role.bass)


def reduce(draft: Draft, settings: Settings) -> Draft:
    """Leave out parts of a phrase that double or crowd others; share the rest between the hands.

    What is highest or lowest at its moment stays, and what alone gives a note of the harmony. A
    draft whose notes come from a single part is given back as it is.
    """
    ensemble = settings.ensemble
    if ensemble is None or len({p for ids in ensemble.lines.values() for p in ids}) < 2:
        return draft
    scene = _Scene(ensemble, load_reduction(), roles(draft.notes))
    gone: dict[NoteId, Alteration] = {}
    hands: dict[NoteId, str] = {}
    sung: set[NoteId] = set()
    for stretch in _stretches(draft, scene):
        for note, rule, reason in (*_crowding(stretch, scene),
                                   *_repetitions(stretch, draft, settings, scene)):
            if note.id not in settings.pins.notes:  # what is chosen stays
                gone.setdefault(note.id, Alteration(Drop(note.id), rule, STAGE, reason))
        left = {p: tuple(n for n in notes if n.id not in gone)
                for p, notes in stretch.lines.items()}
        sung |= {n.id for p, notes in left.items() if stretch.roles[p].name == "tune"
                 for n in notes}
        for part, hand in hands_of_lines(left).items():
            for note in left[part]:
                hands.setdefault(note.id, hand)
    notes = tuple(replace(n, hand=hands.get(n.id, n.hand), sung=n.id in sung)
                  for n in draft.notes if n.id not in gone)
    return replace(draft, notes=notes, ledger=draft.ledger.plus(*gone.values()))


def _stretches(draft: Draft, scene: _Scene) -> Iterator[_Stretch]:
    of = scene.ensemble.lines
    whole: dict[PartId, list[HarpNote]] = {}
    by_bar: dict[tuple[int, PartId], list[HarpNote]] = {}
    for note in draft.notes:
        for part in of.get(note.id, ()) if not note.source.grace else ():
            whole.setdefault(part, []).append(note)
            by_bar.setdefault((note.source.measure, part), []).append(note)
    covered = {(n.onset, n.midi) for n in draft.source.notes if n.part in scene.ensemble.kept}
    for phrase in phrases({p: _sources(notes) for p, notes in whole.items()},
                          draft.source.measures, scene.rules):
        lines = {p: tuple(n for bar in range(phrase.first, phrase.last + 1)
                          for n in by_bar.get((bar, p), ())) for p in whole}
        lines = {p: notes for p, notes in lines.items() if notes}
        if lines:
            yield _Stretch(lines, part_roles({p: _sources(notes) for p, notes in lines.items()},
                                             scene.ensemble, covered, scene.rules))


def _sources(notes: Iterable[HarpNote]) -> tuple[Note, ...]:
    return tuple(n.source for n in notes)


def _crowding(stretch: _Stretch, scene: _Scene) -> Iterator[tuple[HarpNote, str, str]]:
    """Notes of the parts that leave the phrase because too much is struck at once."""
    owners = Counter(n.id for notes in stretch.lines.values() for n in notes)
    struck = {n.id: n for notes in stretch.lines.values() for n in notes}
    load = Counter(n.onset for n in struck.values())
    classes = Counter((n.onset, n.pitch.pitch_class) for n in struck.values())
    often = scene.rules.number("together", "often")
    for part in sorted(stretch.lines, key=lambda p: (stretch.roles[p].rank, p)):
        role = stretch.roles[part]
        if role.name in ("tune", "bass"):
            break
        most = scene.rules.number("together", role.name)
        if sum(count > most for count in load.values()) <= often * len(load):
            continue
        reason = _told(part, role, scene.ensemble)
        for note in stretch.lines[part]:
            owners[note.id] -= 1
            place = note.onset, note.pitch.pitch_class
            if owners[note.id] or scene.leads(note) or (
                    role.name != "covered" and classes[place] < 2):
                continue
            load[note.onset] -= 1
            classes[place] -= 1
            yield note, "T1", reason


def _told(part: PartId, role: PartRole, ensemble: Ensemble) -> str:
    name = ensemble.names.get(part, part)
    if role.name == "doubling":
        other = ensemble.names.get(role.of, role.of)
        return f"in this phrase {name} doubles {other}, and two hands are full"
    if role.name == "covered":
        return f"in this phrase another player has what {name} plays"
    return f"in this phrase {name} is {role.word}, its notes sound in other octaves too, and " \
           "two hands are full"


def _repetitions(stretch: _Stretch, draft: Draft, settings: Settings,
                 scene: _Scene) -> Iterator[tuple[HarpNote, str, str]]:
    """Repeated notes of the accompaniment quicker than a string likes: struck less often."""
    limit = settings.player.restrike_warning_seconds
    for part, notes in stretch.lines.items():
        if stretch.roles[part].name in ("tune", "counter-tune"):
            continue
        name = scene.ensemble.names.get(part, part)
        for note in too_fast(notes, draft.source, limit):
            if not scene.leads(note) and len(scene.ensemble.lines[note.id]) == 1:
                yield note, "R1", (f"{name} repeats the note faster than the string should be "
                                   "plucked again; in this phrase it is struck less often")
