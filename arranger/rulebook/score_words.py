"""Words of a score that are for all players: its heading, tempi and their changes, jumps."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any, Literal

from arranger.rulebook.files import read_toml, rules_folder

Jump = Literal["dacapo", "dalsegno", "tocoda", "fine", "trio"]
_JUMPS: tuple[tuple[Jump, re.Pattern[str]], ...] = (
    ("dacapo", re.compile(r"\bd\.\s?c\.|\bda capo\b|^dc\b", re.I)),
    ("dalsegno", re.compile(r"\bd\.\s?s\.|\bdal segno\b|^ds\b", re.I)),
    ("tocoda", re.compile(r"\bto coda\b|^alla? coda$", re.I)),
    ("fine", re.compile(r"^\s*fine\.?\s*$", re.I)),
    ("trio", re.compile(r"^\W*(?:trio|alternativo|minore|maggiore|musette)\b", re.I)))


def jumps_said(text: str) -> Iterator[Jump]:
    """Yield what a text says of where to go on, such as *D.C. al Fine*; ``trio`` heads one."""
    return (kind for kind, form in _JUMPS if form.search(text))


@cache
def tempo_ranges() -> tuple[re.Pattern[str], dict[str, tuple[int, int]]]:
    """Return a pattern of all tempo phrases, and the usual beats a minute of each."""
    ranges = {plain(word): (low, high) for word, (low, high) in _file()["words"].items()}
    return re.compile(rf"(?<!\w)(?:{_either(ranges)})(?!\w)"), ranges


def tempo_phrases(text: str) -> list[str]:
    """Return the tempo phrases in a marking that it does not deny (*nicht schnell*)."""
    said = plain(text)
    return [m.group() for m in tempo_ranges()[0].finditer(said)
            if not _denied().search(said[:m.start()])]


@cache
def _denied() -> re.Pattern[str]:
    return re.compile(rf"(?<!\w)(?:{_either(_file()['denied']['words'])})\s+$")


def pace(number: int | None, beat: Fraction) -> Fraction:
    """Return the crotchets a minute that a number of the table means; without one those assumed.

    Whole ones; ``beat``: the length of the metre's beat in crotchets.
    """
    table = _file()["beats"]
    number = table["no_word"] if number is None else number
    name = {Fraction(2): "minim", Fraction(3, 2): "dotted_crotchet",
            Fraction(1, 2): "quaver"}.get(beat)
    return Fraction(round(beat * round(number * Fraction(*table[name]))) if name else number)


def is_tempo(text: str) -> bool:
    """Tell whether a marking begins with a tempo word (*più adagio*) or says a change of tempo."""
    return _begins_with_tempo(text) or changes_tempo(text)


def _begins_with_tempo(text: str) -> bool:
    return bool(_markings()[0].match(plain(text)))


def changes_tempo(text: str) -> bool:
    """Tell whether a marking says that the tempo gives way or comes back (*poco rit.*)."""
    return bool(_markings()[1].search(said := plain(text))
                or said.strip(" .,()[]") in _alone())


def slows(text: str) -> bool:
    """Tell whether a marking says that the music slows down (*poco rit.*)."""
    return bool(_markings()[2].search(plain(text)))


@dataclass(frozen=True, slots=True)
class GivesWay:
    """How many times as long a fermata and slowing music last, and how many bars the latter."""

    fermata: Fraction
    slowing: Fraction
    bar_lines: int


@cache
def gives_way() -> GivesWay:
    """Return what a judge grants where the tempo gives way."""
    table = _file()["gives_way"]
    return GivesWay(Fraction(*table["fermata"]), Fraction(*table["slowing"]), table["bar_lines"])


@cache
def _alone() -> frozenset[str]:
    return frozenset(map(plain, _file()["changes"]["alone"]))


@cache
def _markings() -> tuple[re.Pattern[str], re.Pattern[str], re.Pattern[str]]:
    changes = _file()["changes"]
    changing, slowing = (re.compile(rf"(?<!\w)(?:{_either(words)})(?!\w)")
                         for words in (changes["words"] + changes["slowing"], changes["slowing"]))
    return (re.compile(rf"\W*(?:(?:{_either(changes['before'])})\s+)*"
                       rf"(?:{_either(tempo_ranges()[1])})(?!\w)"), changing, slowing)


@dataclass(frozen=True, slots=True)
class Heading:
    """How a piece is headed: its ``title``, and a smaller line ``above`` or ``below`` it."""

    title: str = ""
    above: str = ""
    below: str = ""


def heading(work: str | None, movement: str | None) -> Heading:
    """Return the heading of a score with these titles, either of which may be missing.

    A song is known by its own name, which is that of the movement; the work, its collection,
    stands above. A movement that has a tempo for a name stands under the name of the work.
    """
    work, movement = (" ".join((text or "").split()) for text in (work, movement))
    if not work or not movement or plain(work) == plain(movement):
        return Heading(work or movement)
    if _begins_with_tempo(movement):
        return Heading(work, below=movement)
    return Heading(movement, above=work)


def _either(words: Iterable[str]) -> str:
    """A pattern of any of these words, the longest first."""
    longest_first = sorted(set(map(plain, words)), key=lambda word: (-len(word), word))
    return "|".join(map(re.escape, longest_first))


def _file() -> dict[str, Any]:
    return read_toml(rules_folder() / "tempo-words.toml")


def plain(text: str) -> str:
    """Return ``text`` in small letters, without accents, with single spaces."""
    letters = unicodedata.normalize("NFKD", text.lower().replace("ß", "ss").replace("’", "'"))
    return " ".join("".join(c for c in letters if not unicodedata.combining(c)).split())
