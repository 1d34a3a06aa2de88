"""What an idea costs: the piece is planned again with its one pin, and compared."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from arranger.model.draft import Draft
from arranger.model.ledger import Fidelity, Ledger
from arranger.model.pins import Pins
from arranger.model.score import Score
from arranger.options.foot_risks import foot_risks
from arranger.options.honoured import broken, with_reasons
from arranger.options.ideas import Idea, Workshop, ideas
from arranger.options.knock_on import knock_on
from arranger.options.present import loosened
from arranger.options.spots import Spot, risks
from arranger.passes.damping import free_hands
from arranger.passes.feet import move_pedals
from arranger.passes.jumps import barline_groups
from arranger.passes.pipeline import weighed
from arranger.passes.settings import Settings
from arranger.plan.ornaments import ORNAMENTS
from arranger.plan.pinned import KEPT
from arranger.plan.recall import Recall
from arranger.plan.timing import Window

#: Options offered at a spot at most, and those that are weighed over the whole piece.
MOST = 3
#: Ideas weighed besides where others turn out to be the same, or impossible, in the whole piece.
_SPARE = 2
#: Options of one kind at most, where not two: the same move at other moments is one idea.
_OF_A_KIND = {"pedal": 1, "line": 1, "trill": 1, "roll": 1, "still": 1}
#: Bars on each side of a spot that are planned to see which ideas are worth the whole piece.
_AROUND = 1
#: Rounds of bargaining in which they are planned. One finds nearly what thirty find, and only the
#: order of ideas hangs on it.
_ROUNDS = 1
#: Price over which an option is offered only if there are fewer than _FEW cheaper ones.
_DEAR, _FEW = 300, 2
#: What an idea of another kind may cost more and still come before one more of a kind.
_ALIKE = 50
#: Quarter notes within which a risk after an idea is still the same one.
_MOMENT = 1


@dataclass(frozen=True, slots=True)
class Outcome:
    """An idea carried out: the exact change of the total, by term, and what else changes.

    ``ledger``: what it changes in the source, beyond what the draft without it changes.
    """

    idea: Idea
    cost_change: int
    terms: dict[str, int]
    fidelity: Fidelity
    draft: Draft = field(repr=False)
    knock_on: tuple[str, ...] = ()
    ledger: Ledger = Ledger()


@dataclass(frozen=True, slots=True)
class Weighed:
    """A spot with its outcomes, the best first."""

    spot: Spot
    outcomes: tuple[Outcome, ...]

    @property
    def gain(self) -> int:
        """How much the best outcome lowers the total."""
        return max((-o.cost_change for o in self.outcomes), default=0)


class Scales:
    """A draft, and what becomes of it under further pins."""

    def __init__(self, draft: Draft, settings: Settings, present: Pins | None = None,
                 alter: bool | None = None, recall: Recall | None = None) -> None:
        """``present``: the player's own solution, which stands but for what a spot sets free.

        ``alter``: whether notes may be altered; else not where there is such a solution.
        ``recall``: what the first look at the score found, from which every plan starts.
        """
        self.alter = present is None if alter is None else alter
        settings = replace(settings, bounded=False)
        self.shop = Workshop.of(draft, settings)
        self.present = present
        self._glance = replace(settings, proof=0,
                               universe=replace(settings.universe, rounds=_ROUNDS))
        self._whole: Draft | None = None
        self._feet: int | None = None  # how hard the work of the feet is
        self._recall = recall or Recall()
        self._done: dict[str, Outcome | None] = {}

    def weigh(self, spot: Spot) -> Weighed:
        """All ideas of a spot, weighed near by first, then the best over the whole piece."""
        kept: dict[object, Outcome] = {}
        for idea in _various(self._guesses(spot)):
            outcome = self.carried_out(idea)
            if outcome is not None:
                face = _face(outcome.draft, idea)
                kept[face] = min(kept.get(face, outcome), outcome, key=lambda o: o.cost_change)
            if len(_needed(kept.values())) == MOST:
                break
        return Weighed(spot, tuple(sorted(_needed(kept.values()), key=lambda o: o.cost_change)))

    def _guesses(self, spot: Spot) -> list[tuple[int, int, Idea]]:
        """Ideas that help, with their price near by and their rank; of those alike the first."""
        shop, recall, near = self.shop, self._recall.elsewhere(), self._excerpt(spot)
        base = self._plan(near, Pins(), recall, self._glance)
        guesses: list[tuple[int, int, Idea]] = []
        seen: set[object] = set()
        for rank, idea in enumerate(self._in_turn(spot, guesses)):
            timed, pins = idea.choice.kind == "pedal", idea.placed.pins
            if timed and any(i.choice.kind == "pedal" for _, _, i in guesses):
                continue  # one other moment is offered, the first that helps
            draft = (self._timed(pins, shop.draft)[0] if timed
                     else self._plan(near, pins, recall, self._glance))
            face = _face(draft, idea)
            if broken(draft, [idea.placed]) or face in seen:
                continue
            if face == _face(base, idea) and not broken(shop.draft, [idea.placed]):
                continue  # it is so already
            if not self._helps(spot, idea, shop.draft if timed else base, draft):
                continue
            seen.add(face)
            guesses.append((0 if timed else draft.total - base.total, rank, idea))
        return guesses

    def _in_turn(self, spot: Spot, found: Sequence[object]) -> Iterator[Idea]:
        """The ideas of a spot; a tune or a bass is given up where hardly any other is found."""
        first = ideas(spot, self.shop, not self.alter)
        yield from first
        if self.alter and len(found) < _FEW:
            tried = {i.choice.id for i in first}
            yield from (i for i in ideas(spot, self.shop, False, at_a_loss=True)
                        if i.choice.id not in tried)

    def _helps(self, spot: Spot, idea: Idea, was: Draft, now: Draft) -> bool:
        """Tell whether what is hard at the spot is less hard, or the whole cheaper.

        Another moment of a pedal must make the work of the feet lighter or cleaner. Where a note
        was altered any other way with it counts, and any by which it sounds as written. A trill in
        both hands is easier for either, though its strings come back as soon.
        """
        settings, worst = self.shop.settings, spot.risks[0]
        if idea.choice.kind == "pedal":
            if self._feet is None:
                self._feet = sum(r.weight for r in foot_risks(was, settings))
            return sum(r.weight for r in foot_risks(now, settings)) < self._feet
        if worst.kind == "altered":
            lost = self.shop.written[worst.notes[0]]
            return (lost.id in idea.placed.pins.notes
                    or any(n.id == lost.id and n.pitch.midi == lost.midi for n in now.notes))
        return (now.total < was.total or idea.choice.kind == "trill"
                or not any(r.kind == worst.kind and r.weight >= worst.weight
                           and abs(r.onset - worst.onset) <= _MOMENT
                           and set(r.notes) & set(worst.notes) for r in risks(now, settings)))

    def carried_out(self, idea: Idea) -> Outcome | None:
        """The idea over the whole piece; None if it cannot be done, or changes nothing."""
        if idea.choice.id not in self._done:
            self._done[idea.choice.id] = self._carry_out(idea)
        return self._done[idea.choice.id]

    def _carry_out(self, idea: Idea) -> Outcome | None:
        if self._whole is None:
            self._whole = self._plan(self.shop.draft.source, Pins(), self._recall,
                                     self.shop.settings)
        was = self._whole
        now = self._moved(was, idea) or self._plan(was.source, idea.placed.pins, self._recall,
                                                   self.shop.settings)
        now = with_reasons(now, [idea.placed])
        change = now.total - was.total
        if broken(now, [idea.placed]) or change > KEPT // 2 or _face(now, idea) == _face(was):
            return None
        terms = {term: now.cost.get(term, 0) - was.cost.get(term, 0)
                 for term in {**was.cost, **now.cost}}
        before = {(e.edit, e.kind) for e in was.ledger.entries}
        ledger = Ledger(tuple(e for e in now.ledger.entries if (e.edit, e.kind) not in before))
        fidelity: Fidelity = ("same-sound" if _sounds(now) == _sounds(was) else "other-sound")
        return Outcome(idea, change, {t: v for t, v in terms.items() if v}, fidelity, now,
                       knock_on(was, now, idea.placed.pins), ledger)

    def _plan(self, score: Score, pins: Pins, recall: Recall, settings: Settings) -> Draft:
        base = settings.pins
        if self.present is not None:
            base = base.plus(loosened(self.present, score, self.shop.draft.part, settings.harp,
                                      base.plus(pins)))
        return weighed(score, self.shop.draft.part, replace(settings, pins=base.plus(pins)),
                       recall)

    def _moved(self, was: Draft, idea: Idea) -> Draft | None:
        """The planned piece with a pedal at another moment, where only that changes.

        It does where no setting is shared by repeats, no ornament asks for one and nothing has
        to give way to the feet; a harp part's own moments are pinned too.
        """
        if (idea.choice.kind != "pedal" or self.present is not None
                or barline_groups(was.source)
                or any(n.source.marks & ORNAMENTS for n in was.notes)):
            return None
        plain, late = self._timed(Pins(), was)
        now, missed = self._timed(idea.placed.pins, was)
        return None if late or missed or plain.plan != was.plan else now

    def _timed(self, pins: Pins, draft: Draft) -> tuple[Draft, tuple[Window, ...]]:
        """A draft with its pedals timed again under pins; also the windows that no foot meets."""
        settings = self.shop.settings
        return move_pedals(draft, replace(settings, pins=settings.pins.plus(pins)), {},
                           recall=self._recall, hands=free_hands(draft, settings))

    def _excerpt(self, spot: Spot) -> Score:
        """The bars around a spot as a score of their own, numbered as in the whole."""
        source, part = self.shop.draft.source, self.shop.draft.part
        bar = spot.where.bar_index - 1
        notes = tuple(n for n in source.notes
                      if n.part == part and abs(n.measure - bar) <= _AROUND)
        return replace(source, notes=notes, playing_order=())


def _various(guesses: Sequence[tuple[int, int, Idea]]) -> list[Idea]:
    """The cheapest ideas, other kinds before more of one kind; of that no more than a few."""
    ranks: Counter[str] = Counter()
    queue: list[tuple[int, int, Idea]] = []
    for at, (price, _, idea) in enumerate(sorted(guesses, key=lambda g: g[:2])):
        kind = idea.choice.kind
        dear = len(queue) >= _FEW and price > _DEAR and kind != "still"
        if ranks[kind] < _OF_A_KIND.get(kind, 2) and not dear:
            queue.append((price + _ALIKE * ranks[kind], at, idea))
        ranks[kind] += 1
    return [idea for _, _, idea in sorted(queue, key=lambda q: q[:2])[:MOST + _SPARE]]


def _sounds(draft: Draft) -> frozenset[tuple[Fraction, int]]:
    return frozenset((n.onset, n.pitch.midi) for n in draft.notes)


def _needed(outcomes: Iterable[Outcome]) -> list[Outcome]:
    """Outcomes but for rolls that help by strings and hands which need no roll."""
    every = list(outcomes)
    plain = [_held(o.draft) for o in every if o.idea.choice.kind != "roll"]
    return [o for o in every if o.idea.choice.kind != "roll" or _held(o.draft) not in plain]


def _held(draft: Draft) -> frozenset[tuple[object, ...]]:
    return frozenset((n.id, n.pitch, n.hand) for n in draft.notes)


def _face(draft: Draft, idea: Idea | None = None) -> tuple[object, ...]:
    """What makes two outcomes musically the same; moments of pedals only where asked about.

    Which of two notes of the source sounds on a string is no difference.
    """
    notes = frozenset((n.onset, n.source.grace, n.pitch, n.hand, n.rolled) for n in draft.notes)
    if idea is not None and idea.choice.kind == "pedal":
        return notes, tuple((m.onset, m.pedal, m.after) for m in draft.plan.moves)
    return (notes,)
