"""When each pedal is moved: inside its window, on a beat where one serves.

The windows follow from the strings alone: a pedal moves after the last use of its old position
and before the first use of the new. Of one foot the moves stand at least one move apart; each foot
is solved exactly over the candidate moments, in whatever order serves best.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from arranger.model.draft import Draft, PedalMove
from arranger.model.harp import LEFT_FOOT, PEDALS, HarpString, PedalSetting
from arranger.model.pins import PedalPin
from arranger.model.pitch import STEPS
from arranger.model.score import Score
from arranger.plan.recall import Recall
from arranger.plan.slices import clock, joined_barlines
from arranger.plan.touch import Hands, Moment, Ring, hushed, with_hands
from arranger.rulebook.players import Player

_BEATS_BACK = 6  # beats looked at before the new note (assumption)
#: Into how many parts a window is cut for moments off the beat; the finer only where the foot
#: cannot meet all its windows otherwise.
_CUTS = (8, 48)
_MISSED = 10_000
#: A foot has rested after so many times what it takes for a move at leisure (assumption).
_RESTS = 2
#: Bars before its note in which a move may stand, and the price of each bar more: a mark far ahead
#: is forgotten (assumptions).
_BARS_AHEAD, _FAR_AHEAD = 2, 10
_EPS = 1e-6


@dataclass(frozen=True, slots=True)
class Use:
    """A letter wanted at ``alter``: struck at ``onset``, held until ``until`` (both quarters).

    ``midi`` is 0 for a use that sounds nothing (a setting pinned at a barline).
    """

    onset: Fraction
    letter: str
    alter: int
    until: Fraction
    midi: int = 0

    @property
    def place(self) -> int:
        """Diatonic place of its string."""
        return 7 * ((self.midi - self.alter) // 12 - 1) + STEPS.index(self.letter)


@dataclass(frozen=True, slots=True)
class Window:
    """A pedal change and where it may stand: strictly between ``after`` and ``before``.

    ``rings``: the strings of the letter that were plucked at the old position, lowest first.
    """

    pedal: str
    from_alter: int
    to_alter: int
    after: Fraction
    before: Fraction
    rings: tuple[Ring, ...]


def windows(uses: Iterable[Use], default: PedalSetting) -> tuple[PedalSetting, tuple[Window, ...]]:
    """Opening setting and the windows of all changes, ordered by deadline.

    A letter never used stands as in ``default``.
    """
    opening = default
    last: dict[str, Use] = {}
    rings: defaultdict[str, dict[int, Ring]] = defaultdict(dict)
    found: list[Window] = []
    for use in sorted(uses, key=lambda u: (float(u.onset), u.letter, u.midi)):
        before, ringing = last.get(use.letter), rings[use.letter]
        if before is None:
            opening = opening.with_pedal(use.letter, use.alter)
        elif before.alter != use.alter:
            found.append(Window(use.letter, before.alter, use.alter, before.onset, use.onset,
                                tuple(sorted(ringing.values()))))
            ringing.clear()
        if use.midi:
            place, known = use.place, ringing.get(use.place)
            ringing[place] = Ring(place, use.midi, use.onset, max(use.until, known.until)
                                  if known else use.until)
        last[use.letter] = use
    found.sort(key=lambda w: (float(w.before), float(w.after), PEDALS.index(w.pedal)))
    return opening, tuple(found)


@dataclass(frozen=True, slots=True)
class _Moment:
    onset: Fraction
    seconds: float
    price: int


def schedule(score: Score, onsets: Sequence[Fraction], changes: Sequence[Window], player: Player,
             prices: Mapping[str, int], pins: Sequence[PedalPin] = (),
             recall: Recall | None = None, hands: Hands | None = None,
             ) -> tuple[tuple[PedalMove, ...], tuple[Window, ...]]:
    """Place every change.

    Parameters
    ----------
    onsets : attacks of the part, rising.
    changes : windows ordered by deadline.
    pins : moments that are decided; one outside the window of its change counts for nothing.
    recall : of the same piece, player and prices.
    hands : what may damp a string before its pedal moves; None: nothing does.

    Returns
    -------
    The moves in order of time (right foot first at one moment), and the windows that could not
    be met (their moves stand where they overlap least).
    """
    recall = recall or Recall(searches=False)
    beats = recall.common(("beats", id(score.measures)), lambda: (
        dict(_beats(score)), score.measures))[0]
    grid = sorted({**beats, **{float(o): o for o in onsets}}.items())
    times, places = [time for time, _ in grid], [place for _, place in grid]
    jumps = joined_barlines(score)
    known = {w: replace(w, rings=with_hands(w.rings, w.after, w.before, score.tempo, hands))
             for w in changes}
    moves: list[PedalMove] = []
    missed: list[Window] = []
    for left in (True, False):
        mine = [w for w in changes if (w.pedal in LEFT_FOOT) == left]
        for cuts in _CUTS:
            options = [_pinned(w, score, pins) or _known_moments(
                known[w], score, places[bisect_right(times, float(w.after)):
                                 bisect_left(times, float(w.before))][-4 * _BEATS_BACK:],
                beats, cuts, player, prices, recall) for w in mine]
            placed, late = _known_placed(mine, options, player, prices, jumps, recall)
            if not late:
                break
        missed += late
        moves += [PedalMove(m.onset, m.seconds, w.pedal, w.from_alter, w.to_alter)
                  for w, m in zip(mine, placed, strict=True)]
    moves.sort(key=lambda m: (m.onset, m.foot != "R", PEDALS.index(m.pedal)))
    return tuple(moves), tuple(missed)


def _pinned(window: Window, score: Score, pins: Sequence[PedalPin]) -> list[_Moment]:
    """The moment that is decided for this change, if one is."""
    here = sorted(p.onset for p in pins if (p.pedal, p.alter) == (window.pedal, window.to_alter)
                  and window.after < p.onset < window.before)
    return [_Moment(here[-1], clock(score.tempo, here)[-1], 0)] if here else []


def _beats(score: Score) -> Iterator[tuple[float, Fraction]]:
    """Every beat of every bar: the metre's denominator, dotted in compound metres.

    Each also as a float, which tells musical moments apart and compares fast.
    """
    for bar in score.measures:
        for i in range(-(-bar.duration // bar.unit)):
            beat = bar.onset + bar.unit * i
            yield float(beat), beat


def _known_moments(window: Window, score: Score, inside: Sequence[Fraction],
                   beats: Mapping[float, Fraction], cuts: int, player: Player,
                   prices: Mapping[str, int], recall: Recall) -> list[_Moment]:
    """The moments of a window, found once for all plans of a piece."""
    return recall.get(("moments", window, cuts, tuple(inside)), lambda: _moments(
        window, score, inside, beats, cuts, player, prices))


def _moments(window: Window, score: Score, inside: Sequence[Fraction],
             beats: Mapping[float, Fraction], cuts: int, player: Player,
             prices: Mapping[str, int]) -> list[_Moment]:
    """Candidate moments of one change with their prices, rising in time.

    ``inside``: the last beats and attacks within the window.
    """
    places = dict.fromkeys(inside, 0)
    width = window.before - window.after
    start = window.after if width <= 2 else window.before - 2
    between = [start + (window.before - start) * i / cuts for i in range(1, cuts)]
    places |= {moment: 6 for moment in between if moment not in places}
    ordered = sorted(places)
    times = clock(score.tempo, [*ordered, window.before])
    arrive = times[-1]
    need = player.foot_move_seconds if window.to_alter - window.from_alter in (-1, 1) \
        else player.foot_two_notch_seconds
    moments = []
    ready = {p for p, t in zip(ordered, times[:-1], strict=True)
             if float(p) in beats and arrive - t >= need - 1e-9}
    used_in = score.measure_at(window.before).index
    left_over = len(ready)  # beats still to come on which the move would be in time
    for place, time in zip(ordered, times[:-1], strict=True):
        price = places[place] or (0 if float(place) in beats else 3)
        price += hushed(window.rings, Moment(place, time), prices, player).price
        if arrive - time < need - 1e-9:
            price += 25 + round(100 * (need - (arrive - time)))
        if arrive - time < player.pedal_lead_seconds - 1e-9:
            price += prices["rush"]
        if place in ready:
            left_over -= 1
        ahead = used_in - score.measure_at(place).index
        price += 2 * left_over + _FAR_AHEAD * max(0, ahead - _BARS_AHEAD)
        moments.append(_Moment(place, time, price))
    return moments


def _known_placed(changes: Sequence[Window], options: Sequence[Sequence[_Moment]], player: Player,
                  prices: Mapping[str, int], jumps: Sequence[tuple[float, float]], recall: Recall,
                  ) -> tuple[list[_Moment], list[Window]]:
    """The same moments of one foot for the same changes; their options are kept with them."""
    return recall.get(("placed", *map(id, options)), lambda: (
        _placed(changes, options, player, prices, jumps), options))[0]


def _placed(changes: Sequence[Window], options: Sequence[Sequence[_Moment]], player: Player,
            prices: Mapping[str, int], jumps: Sequence[tuple[float, float]]
            ) -> tuple[list[_Moment], list[Window]]:
    """Moments of one foot's changes, a move apart across the jumps too where that can be."""
    placed, late = _place(changes, options, player, prices)
    for end, start in jumps:
        last = max((r for r, m in enumerate(placed) if m.seconds < end - _EPS),
                   key=lambda r: placed[r].seconds, default=None)
        first = min((r for r, m in enumerate(placed) if m.seconds >= start - _EPS),
                    key=lambda r: placed[r].seconds, default=None)
        if last is None or first is None or last == first:
            continue
        room = _time(changes[last], player) - _EPS
        before, after = end - placed[last].seconds, placed[first].seconds - start
        if before + after >= room:
            continue
        found = []
        for least in ((room - after, 0.0), (0.0, room - before), (room / 2, room / 2)):
            narrowed = list(options)
            narrowed[last] = [m for m in options[last] if end - m.seconds >= least[0]]
            narrowed[first] = [m for m in options[first] if m.seconds - start >= least[1]]
            if narrowed[last] and narrowed[first]:
                found.append((_place(changes, narrowed, player, prices), narrowed))
        if found:
            (placed, late), options = min(found, key=lambda f: sum(m.price for m in f[0][0])
                                          + _MISSED * len(f[0][1]))
    return placed, late


@dataclass(frozen=True, slots=True)
class _Line:
    """Some changes placed, in order: the price, the last change and the rest.

    ``free``: when the foot has ended its last move, ``calm``: when it has rested from it.
    """

    price: int
    free: float = -math.inf
    calm: float = -math.inf
    last: tuple[int, _Moment] | None = None
    before: _Line | None = None


def _place(changes: Sequence[Window], options: Sequence[Sequence[_Moment]], player: Player,
           prices: Mapping[str, int]) -> tuple[list[_Moment], list[Window]]:
    """Cheapest moments of one foot's changes, a move apart, in whatever order; then the missed.

    A sweep over all moments in time. Lines are kept by the open windows they have served (at most
    one a pedal, for the windows of one pedal do not overlap); of those that have served the same,
    a dearer one is kept only if its foot is free or calm earlier. A window that closes unserved is
    missed at a heavy price.
    """
    rest = _RESTS * player.foot_sustained_seconds
    lines = {frozenset[int](): [_Line(0)]}
    for now, rank, at in sorted((m.seconds, rank, at) for rank, moments in enumerate(options)
                                for at, m in enumerate(moments)):
        lines = {served: _undominated(here, now) for served, here in lines.items()}
        moment = options[rank][at]
        for served in [s for s in lines if rank not in s]:
            line = min((x for x in lines[served] if x.free <= now + _EPS), default=None,
                       key=lambda x: x.price + crowding(now - x.calm + rest, player, prices))
            if line is not None:
                more = _Line(
                    line.price + moment.price
                    + crowding(now - line.calm + rest, player, prices),
                    now + _time(changes[rank], player), now + rest, (rank, moment), line)
                lines.setdefault(served | {rank}, []).append(more)
        if at == len(options[rank]) - 1:
            lines = _close(lines, rank)
    end: _Line | None = min(lines[frozenset()], key=lambda x: (x.price, -x.free))
    placed: dict[int, _Moment] = {}
    while end is not None:
        if end.last is not None:
            placed[end.last[0]] = end.last[1]
        end = end.before
    missed = [rank for rank in range(len(changes)) if rank not in placed]
    for rank in missed:
        others = [m.seconds for m in placed.values()]
        placed[rank] = max(options[rank], key=lambda m: (
            min((abs(m.seconds - o) for o in others), default=0.0), -m.price))
    return [placed[rank] for rank in range(len(changes))], [changes[rank] for rank in missed]


def crowding(since: float, player: Player, prices: Mapping[str, int]) -> int:
    """Price of a move so many seconds after another of the same foot began."""
    calm = player.foot_sustained_seconds
    rested = (since / calm - 1.0) / (_RESTS - 1)
    return prices["crowd"] * (since < calm - _EPS) + round(
        prices["bustle"] * (1.0 - min(max(rested, 0.0), 1.0)))


def _time(change: Window, player: Player) -> float:
    """Seconds the move takes."""
    return (player.foot_move_seconds if abs(change.to_alter - change.from_alter) == 1
            else player.foot_two_notch_seconds)


def _undominated(lines: Sequence[_Line], now: float) -> list[_Line]:
    """Lines from the cheapest on (of equals the last to move) that are free or calm earlier.

    What lies in the past is equal.
    """
    if len(lines) == 1:
        return list(lines)
    kept: list[_Line] = []
    times: list[tuple[float, float]] = []
    for line in sorted(lines, key=lambda x: (x.price, -x.calm)):
        free, calm = max(line.free, now + _EPS), max(line.calm, now + _EPS)
        for earlier_free, earlier_calm in times:
            if earlier_free <= free and earlier_calm <= calm:
                break
        else:
            kept.append(line)
            times.append((line.free, line.calm))
    return kept


def _close(lines: Mapping[frozenset[int], Sequence[_Line]],
           rank: int) -> dict[frozenset[int], list[_Line]]:
    """Forget a window that is over; whoever has not served it pays for the miss."""
    closed: dict[frozenset[int], list[_Line]] = {}
    for served, here in lines.items():
        closed.setdefault(served - {rank}, []).extend(
            x if rank in served else replace(x, price=x.price + _MISSED) for x in here)
    return closed


def uses_of(notes: Iterable[tuple[Fraction, Fraction, HarpString, int]],
            fixed: frozenset[HarpString]) -> list[Use]:
    """Uses of the pedals by plucked notes (onset, end, string, alter); fixed strings ask none."""
    return [Use(onset, string.step, alter, end, string.pitch(alter).midi)
            for onset, end, string, alter in notes if string not in fixed]


def draft_uses(draft: Draft) -> list[Use]:
    """Uses of the pedals by the notes of a draft."""
    return uses_of([(n.onset, n.source.end, n.string, n.pitch.alter) for n in draft.notes],
                   frozenset(draft.plan.fixed))
