"""Which part of a score is to be arranged: by name, or the one a harp would take over."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import accumulate

from lxml import etree

from arranger.model.errors import ChoiceError

#: Names of keyboard instruments in English, German, French, Italian, Spanish and Polish
#: (common practice; MusicXML 4.0 sounds.xml for the ids ``keyboard.*``).
_KEYBOARD = re.compile(
    r"piano|pianino|fortepian|klavier|clavier|clave?cin|clave\b|cembalo|clavicordi|"
    r"harpsichord|clavichord|klawesyn|klawikord|spinett?|virginal|keyboard|teclado|klawiatur|"
    r"tastiera|\borgan|orgel|orgue|órgano|\bp-?no\b|\bpf(te?)?\b|\bklav\b", re.IGNORECASE)
_HARP = re.compile(r"\bharps?\b|\bharfe|\bharpe|\barpa|\bharfa|\barfa", re.IGNORECASE)
_HAND = re.compile(
    r"\b(r\.?h|l\.?h|m\.?d|m\.?[sg]|right|left|hand|recht(?:s|e|er)?|link(?:s|e|er)?|droite|"
    r"gauche|destra|sinistra|upper|lower|[12]|ii?)\b\.?|[()\[\]]", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class _Entry:
    """A line of the part-list, as far as the choice needs it."""

    id: str
    name: str
    abbreviation: str
    instrument: str
    staves: int

    @property
    def called_keyboard(self) -> bool:
        return bool(_KEYBOARD.search(f"{self.name} {self.abbreviation}"))

    @property
    def keyboard(self) -> bool:
        return self.called_keyboard or bool(_KEYBOARD.search(self.instrument))

    @property
    def harp(self) -> bool:
        return "pluck.harp" in self.instrument or bool(
            _HARP.search(f"{self.name} {self.instrument}"))

    @property
    def plain(self) -> str:
        """Name without signs for the hands, to tell two halves of one instrument."""
        return " ".join(_HAND.sub(" ", self.name).lower().split())


ALL = "all"
#: Letters that a list of parts takes in a message.
_LINE = 240


def choose_parts(root: etree._Element, names: tuple[str, ...] = (),
                 harp_first: bool = False, keep: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Return the ids of the parts to arrange, in score order.

    With ``names`` each is matched against id, name and abbreviation without regard to case, a
    whole match before a partial one. Without names: the only part, else the keyboard part (two
    neighbouring one-staff parts of one name are its two staves; of several with its sound the one
    that is called so, or has two staves), else the harp part, else the only part with more than
    one staff. ``harp_first``: the harp before the keyboard. The name
    ``all`` (and no name, where some are kept) stands for every part with notes of definite pitch.
    ``keep`` names parts that stay with their players.

    Raises
    ------
    ChoiceError
        If a name is unknown or unclear, or no part stands out; the parts are listed.
    """
    entries = _entries(root)
    if not entries:
        raise ChoiceError("the score has no parts")
    kept = named_parts(root, keep)
    whole = [name for name in names if name.strip().lower() == ALL]
    if whole or (kept and not names):
        sounding = _pitched(root)
        chosen = {e.id for e in entries if e.id in sounding and e.id not in kept}
        if not chosen:
            raise ChoiceError("no part is left to arrange; the parts are: " + _listed(entries))
        return tuple(e.id for e in entries if e.id in chosen)
    if names:
        chosen = {i for name in names for i in _named(entries, name)}
        both = [e for e in entries if e.id in chosen and e.id in kept]
        if both:
            raise ChoiceError(f"{_listed(both)} cannot be both arranged and kept")
        return tuple(e.id for e in entries if e.id in chosen)
    if len(entries) == 1:
        return (entries[0].id,)
    keyboards = [e for e in entries if e.keyboard]
    harps = [e for e in entries if e.harp]
    wide = [e for e in entries if e.staves > 1]
    # voices often have a piano for their sound: then the part that is called so, or is laid out so
    for group in (*((harps, keyboards) if harp_first else (keyboards, harps)), wide):
        if group:
            for some in (group, [e for e in group if e.called_keyboard],
                         [e for e in group if e.staves > 1]):
                taken = _one_instrument(entries, some)
                if taken:
                    return tuple(e.id for e in taken)
            break
    raise ChoiceError(f"which part is to be arranged is not clear; say --part NAME, one of: "
                      f"{_listed(entries)}; more than once, or --part all, makes one of several")


def named_parts(root: etree._Element, names: tuple[str, ...]) -> frozenset[str]:
    """Return the ids of the parts that are named; ChoiceError if a name is unknown or unclear."""
    entries = _entries(root) if names else []
    return frozenset(i for name in names for i in _named(entries, name))


def _pitched(root: etree._Element) -> frozenset[str]:
    """Ids of the parts that have notes of definite pitch."""
    return frozenset(part.get("id", "") for part in root.findall("part")
                     if part.find("measure/note/pitch") is not None)


def part_labels(root: etree._Element) -> dict[str, str]:
    """Return the name of every part by its id, in score order; the id where there is no name."""
    return {p.get("id", ""): (p.findtext("part-name") or p.get("id") or "").strip()
            for p in root.iterfind("part-list/score-part")}


def _entries(root: etree._Element) -> list[_Entry]:
    staves = {part.get("id", ""): max((int(s.text or 1) for s in part.iter("staves")), default=1)
              for part in root.findall("part")}
    entries = []
    for line in root.iterfind("part-list/score-part"):
        instrument = " ".join(filter(None, (line.findtext("score-instrument/instrument-sound"),
                                            line.findtext("score-instrument/instrument-name"))))
        ident = line.get("id", "")
        if ident in staves:
            entries.append(_Entry(ident, " ".join((line.findtext("part-name") or "").split()),
                                  " ".join((line.findtext("part-abbreviation") or "").split()),
                                  instrument.strip(), staves[ident]))
    return entries


def _named(entries: list[_Entry], name: str) -> tuple[str, ...]:
    """Parts of one name: the same words twice are one instrument if they stand together."""
    wanted = " ".join(name.lower().split())
    whole = [e for e in entries if wanted in (e.id.lower(), e.name.lower(),
                                              e.abbreviation.lower().rstrip("."))]
    partial = [e for e in entries if wanted and (wanted in e.name.lower()
                                                 or wanted in e.abbreviation.lower())]
    found = whole or partial
    if not found:
        raise ChoiceError(f"no part is called {name!r}; the parts are: {_listed(entries)}")
    taken = _one_instrument(entries, found)
    if not taken:
        raise ChoiceError(f"more than one part is called {name!r}: {_listed(found)}; "
                          "give the id or the whole name")
    return tuple(e.id for e in taken)


def _one_instrument(entries: list[_Entry], group: list[_Entry]) -> list[_Entry]:
    """Return the group if it is one part, or the two staves of one instrument; else []."""
    if len(group) == 1:
        return group
    if len(group) == 2:
        first, second = group
        adjacent = entries.index(second) == entries.index(first) + 1
        one_name = first.name == second.name or (
            first.plain == second.plain and (first.keyboard or first.harp))
        if adjacent and first.staves == second.staves == 1 and one_name:
            return group
    return []


def _listed(entries: list[_Entry]) -> str:
    """Name the parts, as many as a line of a message holds."""
    named = [f"{e.id} ({e.name})" if e.name and e.name != e.id else e.id for e in entries]
    ends = accumulate(len(name) + 2 for name in named)
    shown = [name for name, end in zip(named, ends, strict=True) if end <= _LINE] or named[:1]
    more = [f"and {len(named) - len(shown)} more"] if len(shown) < len(named) else []
    return ", ".join([*shown, *more])
