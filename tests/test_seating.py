"""A set of parts for several harps: who takes what, nothing lost on the way, each part playable."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, product
from pathlib import Path
from random import Random

import numpy as np
import pytest
from click.testing import CliRunner

from arranger.api import Request, ensemble
from arranger.cli import main
from arranger.commands.seating import Seat
from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import serialise
from arranger.model.errors import ChoiceError
from arranger.plan.shares import Line, crowding, lines_of, shares
from arranger.rulebook.players import load_player
from tests.handwritten import attributes, backup, chord, note, part, piano, score
from tests.lever_simulator import Rig, replay
from tests.score_reading import read_score
from tests.simulator import simulate

CORPUS = Path(__file__).parents[1] / "corpus"
SONG = CORPUS / "lantern-on-the-water" / "score.musicxml"
FOUR = CORPUS / "the-evening-watch" / "score.musicxml"


def cheapest(costs: list[list[int]], given: dict[int, int]) -> int | None:
    """Least cost of every sharing in which nobody has more than his share but for what is given."""
    players, count = len(costs[0]), len(costs)
    has = Counter(given.values())
    found = []
    for choice in product(range(players), repeat=count):
        load = Counter(choice)
        if all(choice[line] == p for line, p in given.items()) and all(
                load[p] <= max(-(-count // players), has[p]) and load[p] >= count // players
                for p in range(players)):
            found.append(sum(costs[line][p] for line, p in enumerate(choice)))
    return min(found, default=None)


@pytest.mark.parametrize("seed", range(60))
def test_the_cheapest_sharing_of_all(seed):
    random = Random(seed)
    players, count = random.randint(2, 3), random.randint(3, 6)
    costs = [[random.randint(0, 50) for _ in range(players)] for _ in range(count)]
    given = {random.randrange(count): random.randrange(players)} if seed % 2 else {}
    best = cheapest(costs, given)
    found = shares(costs, given)
    assert best is not None
    assert sum(costs[line][p] for line, p in enumerate(found)) == best
    assert all(found[line] == p for line, p in given.items())


@pytest.mark.parametrize("seed", range(40))
def test_no_exchange_of_two_lines_would_be_cheaper(seed):
    random = Random(seed)
    players, count = random.randint(2, 3), random.randint(3, 7)
    costs = [[random.randint(0, 50) for _ in range(players)] for _ in range(count)]
    crowds = np.zeros((count, count), dtype=np.int64)
    for one, two in combinations(range(count), 2):
        crowds[one, two] = crowds[two, one] = random.randint(0, 50)
    given = {random.randrange(count): random.randrange(players)} if seed % 2 else {}

    def total(taken):
        return sum(costs[line][p] for line, p in enumerate(taken)) + sum(
            crowds[a, b] for a, b in combinations(range(count), 2) if taken[a] == taken[b])

    found = list(shares(costs, given, crowds))
    assert total(found) <= total(shares(costs, given))
    assert Counter(found) == Counter(shares(costs, given))
    assert all(found[line] == p for line, p in given.items())
    for one, two in combinations(set(range(count)) - set(given), 2):
        other = found.copy()
        other[one], other[two] = other[two], other[one]
        assert total(other) >= total(found)


def test_lines_that_strike_together_go_to_two_seats():
    voice = "".join(note("C5", 4) + note("r", 4) for _ in range(2))
    other = "".join(note("r", 4) + note("E4", 4) for _ in range(2))
    root = score(*(part(attributes(1) + music, ident=f"P{i}") for i, music in enumerate(
        (voice, voice.replace("C", "D"), other, other.replace("E", "F")), 1)),
        names=tuple("ABCD"))
    made = as_harp_part(root, ("P1", "P2", "P3", "P4"))
    notes = read(made.root).score.part_notes(made.part_id)
    lines = [Line(str(k), frozenset(n.id for n in notes if n.pitch.step == step))
             for k, step in enumerate("CDEF")]
    crowds = crowding(lines, notes)
    assert crowds[0, 1] == crowds[2, 3] > 0 == crowds[0, 2]
    found = shares([[0, 0]] * 4, {}, crowds)
    assert found[0] != found[1]
    assert found[2] != found[3]
    unison = [lines[0], lines[0], *lines[2:]]
    assert crowding(unison, notes)[0, 1] == 0


def test_lines_of_two_staves():
    root = piano(chord("C5 E5 G5", 8) + note("A5", 8) + backup(16)
                 + chord("C3 G3", 8, staff=2, voice=2) + note("F3", 8, staff=2, voice=2))
    part = as_harp_part(root, ("P1",))
    notes = read(part.root).score.part_notes(part.part_id)
    lines = lines_of(notes, None)
    names = {line.name: sorted(n.pitch.name for n in notes if n.id in line.notes)
             for line in lines}
    assert names == {"top": ["A5", "G5"], "upper": ["C5", "E5"], "lower": ["G3"],
                     "bass": ["C3", "F3"]}


@pytest.fixture(scope="module")
def song():
    return ensemble(Request(SONG, page=False,
                            seats=("pedal-47", "lever-34:student", "lever-22:child=bass")))


def test_every_note_has_a_seat_and_every_loss_is_told(song):
    report = song.report
    names = [line for seat in report["seats"] for line in seat["lines"]]
    assert sorted(names) == ["bass", "lower", "top", "upper"]
    assert report["seats"][2]["lines"] == ["bass"]
    assert sum(seat["notes"] for seat in report["seats"]) == report["summary"]["source_notes"]
    harp = as_harp_part(read_root(SONG), (piano_of(SONG),))
    source = Counter((n.onset, n.midi) for n in read(harp.root).score.part_notes(harp.part_id)
                     if not n.grace)
    heard: Counter[tuple[Fraction, int]] = Counter()
    for seat in report["seats"]:
        score = read_score(song.files[seat["file"]])
        heard |= Counter({(n.onset, n.midi): 1 for n in score.part_notes([score.part_id("Harp")])
                          if not n.grace})
    assert {(Fraction(n["onset"]), n["midi"]) for n in report["lost"]} == set(source - heard)


def read_root(path: Path):  # type: ignore[no-untyped-def]
    from arranger.io.source import open_source
    return open_source(path)


def piano_of(path: Path) -> str:
    from arranger.io.part_choice import choose_parts
    (part,) = choose_parts(read_root(path))
    return part


def test_every_part_can_be_played_on_its_harp(song):
    one, two, three = (song.files[seat["file"]] for seat in song.report["seats"])
    assert simulate(one).violations == 0
    for music, name, rig in ((two, "student", Rig()), (three, "child", Rig("C3", 22))):
        player = load_player(name)
        found = replay(music, rig=replace(rig, move=player.lever_move_seconds,
                                          lead=player.placing_lead_seconds),
                       strings=player.fingers_per_hand, span=player.span_steps,
                       restrike=player.restrike_error_seconds)
        assert found.counts == {}, name
    assert b"harp-pedals" in one
    assert b"levers: C" in two


def test_parts_of_a_score_are_the_lines(tmp_path):
    run = CliRunner().invoke(main, [
        "ensemble", str(FOUR), "--part", "all", "--seat", "pedal-47=Violin",
        "--seat", "lever-36:student", "-o", str(tmp_path / "set")])
    assert run.exit_code in (0, 1), run.output
    assert "2 parts; 196 of 199 notes" in run.output
    assert "Violin" in run.output.splitlines()[1] + run.output.splitlines()[2]
    names = {p.name for p in (tmp_path / "set").iterdir()}
    assert names == {"report.json", *(f"{n}.{e}" for n in ("1-pedal-47", "2-lever-36")
                                      for e in ("musicxml", "json", "mid"))}


def test_the_same_bytes_again(song):
    again = ensemble(Request(SONG, page=False,
                             seats=("pedal-47", "lever-34:student", "lever-22:child=bass")))
    assert again.files == song.files


@pytest.mark.parametrize(("seats", "told"), [
    ((), "name at least two seats"), (("pedal-47",), "name at least two seats"),
    (("pedal-47", "lever-35"), "unknown harp 'lever-35'"),
    (("pedal-47", "lever-34:nobody"), "unknown player 'nobody'"),
    (("pedal-47", "lever-34=tenor"), "no line is called 'tenor'; the lines are: top, upper"),
    (("pedal-47=top", "lever-34=top"), "top is given to two seats"),
    (("pedal-47", ":x"), "--seat :x: give HARP"),
    (("pedal-47=top,upper,lower,bass", "lever-34"), "nothing is left for seat 2"),
    (("pedal-47",) * 5, "too few for 5 seats")])
def test_what_is_refused(seats, told, tmp_path):
    arguments = [word for seat in seats for word in ("--seat", seat)]
    run = CliRunner().invoke(main, ["ensemble", str(SONG), *arguments, "-o", str(tmp_path / "x")])
    assert run.exit_code == 2
    assert told in run.output
    assert not (tmp_path / "x").exists()


def test_two_harps_alike_are_two_seats(tmp_path):
    for name, asked in (("one", ("--harps", "2")), ("other", ("--seat", "pedal-47") * 2)):
        run = CliRunner().invoke(main, ["ensemble", str(SONG), *asked, "-o",
                                        str(tmp_path / name)])
        assert run.exit_code == 0
        assert "2 parts; all 590 notes sound as written." in run.output
    one, other = ({p.name: p.read_bytes() for p in (tmp_path / n).iterdir()}
                  for n in ("one", "other"))
    assert one == other


def test_seats_in_words():
    assert Seat.of("lever-34") == Seat("lever-34", "average")
    assert Seat.of("lever-34:child=top, bass") == Seat("lever-34", "child", ("top", "bass"))
    with pytest.raises(ChoiceError):
        Seat.of("=top")


def test_the_key_of_the_lever_harps(tmp_path):
    names = ["B4", "C#5", "D#5", "E5", "F#5", "G#5", "A#5", "B5", "A#4", "B4", "C#5", "B4"]
    bars = ["".join(note(n, 4) for n in names[i:i + 4]) + backup(16)
            + "".join(note(n, 4, staff=2, voice=2) for n in ("B2", "F#3", "B3", "F#3"))
            for i in (0, 4, 8)]
    path = tmp_path / "b-major.musicxml"
    path.write_bytes(serialise(piano(*bars, fifths=5)))
    made = ensemble(Request(path, page=False, transpose="best", seats=("pedal-47", "lever-34")))
    assert made.report["settings"]["transpose"] == -1
    assert made.report["lost"] == []
    assert [s["changed"] for s in made.report["seats"]] == [{}, {}]
