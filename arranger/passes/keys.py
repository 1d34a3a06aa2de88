"""Which transposition suits the harp: the planner asked in every key within a fourth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from arranger.checks.levers import key_clash
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.draft import Draft
from arranger.model.ledger import Drop, Merge, OctaveShift, Repitch
from arranger.model.levers import transposition_words
from arranger.model.score import Score
from arranger.passes.compass import fold
from arranger.passes.feet import move_pedals
from arranger.passes.jumps import barline_groups, barlines
from arranger.passes.settings import Settings
from arranger.passes.start import start
from arranger.passes.strings import give_strings
from arranger.plan.lever_keys import WITHIN, KeyAdvice, free_keys, key_advice, moved
from arranger.rulebook.harps import tunings

#: Tunings of the harp that are proposed at most.
_TUNINGS = 3
#: Notes of a piece up to which a conversion weighs every key; about two seconds (assumption).
_WEIGHED = 800


@dataclass(frozen=True, slots=True)
class LeastLoss:
    """Of a lever harp that loses notes: the key that loses the least, and what this one loses."""

    best: KeyAdvice
    here: KeyAdvice


def free(score: Score, part: str, settings: Settings) -> tuple[KeyAdvice, ...]:
    """Transpositions in which a lever harp plays all notes as it is set; none for other harps."""
    if settings.harp.mechanism != "lever":
        return ()
    return free_keys(start(score, part).notes, score, settings.harp, settings.player,
                     settings.prices)


def least_loss(draft: Draft, settings: Settings) -> LeastLoss | None:
    """Return the key within a fourth in which a lever harp loses least, if this draft loses notes.

    None also of a piece too long for a conversion to weigh every key of it.
    """
    if settings.harp.mechanism != "lever" or not _loses(draft) or len(draft.notes) > _WEIGHED:
        return None
    found = advice(draft.source, draft.part, settings)
    return LeastLoss(found[0], next(k for k in found if k.semitones == 0))


def _loses(draft: Draft) -> bool:
    return any(isinstance(e.edit, Drop | Repitch | OctaveShift) for e in draft.ledger.entries)


def tunings_for(score: Score, part: str, settings: Settings) -> tuple[str, ...]:
    """Tunings in major keys in which a lever harp has every note as it is set, nearest first."""
    open_now = settings.harp.tuning
    if settings.harp.mechanism != "lever" or open_now is None:
        return ()
    midis = {n.midi for n in score.part_notes(part)}
    found = []
    for key, tuning in tunings().items():
        harp = replace(settings.harp, tuning=tuning, retuned={})
        if tuning != open_now and not key_clash(midis, harp) and all(
                harp.spellings(m) for m in midis):
            found.append((open_now.notches_to(tuning), key))
    return tuple(key for _, key in sorted(found)[:_TUNINGS])


def advice(score: Score, part: str, settings: Settings) -> tuple[KeyAdvice, ...]:
    """All transpositions within a fourth, best first."""
    draft = start(score, part)
    if settings.harp.mechanism == "lever":
        ties = barlines(score, barline_groups(score))
        return key_advice(draft.notes, score, settings.harp, settings.player, settings.prices, ties)
    found = [_pedalled(draft, semitones, settings) for semitones in range(-WITHIN, WITHIN + 1)]
    return tuple(sorted(found, key=lambda a: a.rank))


def _pedalled(draft: Draft, semitones: int, settings: Settings) -> KeyAdvice:
    """Fold into the compass and, on a harp with pedals, plan these; hands are not looked at."""
    there, fifths = moved(draft.notes, draft.source, semitones)
    folded = fold(replace(draft, notes=tuple(there)), settings)
    outside = len(folded.ledger.entries)
    if settings.harp.mechanism != "pedal":
        return KeyAdvice(semitones, fifths, 0, 0, outside)
    strung = give_strings(folded, settings)
    lost = sum(isinstance(e.edit, Drop | Merge | Repitch | OctaveShift)
               for e in strung.draft.ledger.entries) - outside
    timed, _ = move_pedals(strung.draft, settings, strung.pins, strung.ornaments)
    return KeyAdvice(semitones, fifths, len(timed.plan.moves), lost, outside)


def advised(found: Sequence[Diagnostic], costless: Sequence[KeyAdvice],
            least: LeastLoss | None = None) -> tuple[Diagnostic, ...]:
    """Give a key that cannot be set the keys that can as remedies, or the one that loses least."""
    remedies = tuple(Remedy(f"transpose {transposition_words(k.semitones, k.fifths)}: every note "
                            f"with the levers as set", "other-sound")
                     for k in costless if k.semitones)
    if not costless and least and least.best.semitones:
        best = least.best
        remedies = (Remedy(f"transpose {transposition_words(best.semitones, best.fifths)}: "
                           f"{best.lost + best.outside} notes lost instead of "
                           f"{least.here.lost + least.here.outside}", "other-sound"),)
    return tuple(replace(d, remedies=remedies) if d.code == "K2" else d for d in found)


def told(found: Sequence[KeyAdvice]) -> list[str]:
    """One line a transposition, for the terminal."""
    return [f"{transposition_words(k.semitones, k.fifths):<20} "
            + ("nothing to move, nothing lost" if k.free else
               f"moves {k.moves}, notes lost {k.lost}"
               + (f" ({k.outer} of tune or bass)" if k.outer else "")
               + f", out of compass {k.outside}")
            for k in found]


def reported(score: Score, part: str, settings: Settings,
             costless: Sequence[KeyAdvice], least: LeastLoss | None = None) -> dict[str, object]:
    """Keys that cost nothing, the one that loses least if none does, and tunings that would serve.

    Tunings only where this key costs something.
    """
    body: dict[str, object] = {
        "keys": [{"semitones": k.semitones, "fifths": k.fifths} for k in costless]}
    if not costless and least:
        body["best_key"] = {"semitones": least.best.semitones, "fifths": least.best.fifths,
                            **_losses(least.best), "here": _losses(least.here)}
    if settings.harp.mechanism == "lever" and all(k.semitones for k in costless):
        body["tunings"] = list(tunings_for(score, part, settings))
    return body


def _losses(key: KeyAdvice) -> dict[str, int]:
    return {"lost": key.lost, "outer": key.outer, "outside": key.outside, "moves": key.moves}
