"""The judge's own reader of MusicXML: written notes and marks, nothing of the product.

Onsets and durations are Fractions in quarter notes from the start of the written score (repeats
not unfolded). A bar lasts as long as its longest written notes or rests over all parts, a bar
without any as its metre.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from lxml import etree

from tests.score_order import Flow, played
from tests.score_values import SEMITONES, STEPS, Bar, Mark, Note, Score

_UNITS = {"maxima": 32, "long": 16, "breve": 8, "whole": 4, "half": 2, "quarter": 1,
          "eighth": Fraction(1, 2), "16th": Fraction(1, 4), "32nd": Fraction(1, 8),
          "64th": Fraction(1, 16)}
DEFAULT_BPM = Fraction(90)
Source = str | Path | bytes


class UnreadableError(Exception):
    """The bytes are no partwise MusicXML this reader knows."""


def read_score(source: Source) -> Score:
    """Read .musicxml, .xml or .mxl (path or bytes).

    Raises
    ------
    UnreadableError
        Not partwise MusicXML, or an archive without a score.
    """
    root = _root(source)
    if root.tag != "score-partwise":
        raise UnreadableError(f"root element is {root.tag}, not score-partwise")
    readers = [_PartReader(part.get("id", "")) for part in root.findall("part")]
    for reader, part in zip(readers, root.findall("part"), strict=True):
        for index, measure in enumerate(part.findall("measure")):
            reader.measure(index, measure)
    bars = _bars(readers, root)
    notes: list[Note] = []
    marks: list[Mark] = []
    tempi: dict[Fraction, Fraction] = {}
    for reader in readers:
        notes.extend(_tied(reader.part, reader.notes, bars))
        marks.extend(replace(m, onset=bars[i].onset + m.onset) for i, m in reader.marks)
        mine = {max(bars[index].onset + offset, Fraction(0)): bpm
                for index, offset, bpm in reader.tempi}  # in one part the last sign holds
        tempi = {**mine, **tempi}  # of several parts the first
    notes.sort(key=lambda n: (n.onset, n.midi, n.part, n.staff, not n.grace))
    assumed = Fraction(0) not in tempi
    if assumed:
        first = min(tempi, default=None)
        early = first is not None and (not notes or first <= notes[0].onset)
        tempi[Fraction(0)] = tempi[first] if early and first is not None else DEFAULT_BPM
        assumed = not early
    return Score(_names(root), bars, tuple(notes), tuple(marks), tuple(sorted(tempi.items())),
                 assumed, played(_flow(readers, len(bars)), [b.number for b in bars]))


def _root(source: Source) -> etree._Element:
    data = source if isinstance(source, bytes) else Path(source).read_bytes()
    try:
        if data[:2] == b"PK":
            data = _unzipped(data)
        parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
        return etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, zipfile.BadZipFile, KeyError) as error:
        raise UnreadableError(str(error)) from error


def _unzipped(data: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        container = etree.fromstring(archive.read("META-INF/container.xml"))
        paths = [e.get("full-path") for e in container.iter() if str(e.tag).endswith("rootfile")]
        if not paths or paths[0] is None:
            raise UnreadableError("archive names no score")
        return archive.read(paths[0])


def _names(root: etree._Element) -> tuple[tuple[str, str], ...]:
    names = {p.get("id", ""): (p.findtext("part-name") or "").strip()
             for p in root.iterfind("part-list/score-part")}
    return tuple((p.get("id", ""), names.get(p.get("id", ""), "")) for p in root.findall("part"))


def _number(text: str | None, default: Fraction = Fraction(0)) -> Fraction:
    return Fraction(text.strip()) if text and text.strip() else default


class _PartReader:
    """Cursor through one part; offsets are kept inside the bar until all parts are read."""

    def __init__(self, part: str) -> None:
        self.part = part
        self.divisions = Fraction(1)
        self.metre = (4, 4)
        self.fifths = 0
        self.transpose: dict[int, tuple[int, int]] = {}
        self.notes: list[tuple[Note, bool, bool]] = []  # note, tie stop, tie start
        self.marks: list[tuple[int, Mark]] = []
        self.tempi: list[tuple[int, Fraction, Fraction]] = []
        self.lengths: list[Fraction] = []
        self.metres: list[tuple[int, int]] = []
        self.numbers: list[str] = []
        self.flow: defaultdict[int, Flow] = defaultdict(Flow)
        self.serial = 0

    def measure(self, index: int, measure: etree._Element) -> None:
        cursor, last, longest = Fraction(0), Fraction(0), Fraction(0)
        number = measure.get("number", str(index + 1))
        for item in measure:
            if item.tag == "attributes":
                self._attributes(item)
            elif item.tag == "backup":
                cursor -= _number(item.findtext("duration")) / self.divisions
            elif item.tag == "forward":
                cursor += _number(item.findtext("duration")) / self.divisions
            elif item.tag == "note":
                length = _number(item.findtext("duration")) / self.divisions
                grace = item.find("grace") is not None
                if item.find("chord") is None:
                    last = cursor
                    self.serial += 1
                    cursor += 0 if grace else length
                longest = max(longest, last + (0 if grace else length))
                if item.find("pitch") is not None and item.find("cue") is None:
                    self._note(index, number, item, last, Fraction(0) if grace else length, grace)
            elif item.tag == "direction":
                self._direction(index, item, cursor)
            elif item.tag == "sound":
                self._sound(index, item, cursor)
            elif item.tag == "barline":
                self._barline(index, item)
        self.lengths.append(longest)
        self.metres.append(self.metre)
        self.numbers.append(number)

    def _attributes(self, item: etree._Element) -> None:
        self.divisions = _number(item.findtext("divisions"), self.divisions)
        beats, unit = item.findtext("time/beats"), item.findtext("time/beat-type")
        if beats and unit:
            self.metre = (sum(int(b) for b in beats.split("+")), int(unit))
        self.fifths = int(item.findtext("key/fifths") or self.fifths)
        for element in item.findall("transpose"):
            chromatic = int(float(element.findtext("chromatic") or 0))
            octaves = int(element.findtext("octave-change") or 0)
            given = element.findtext("diatonic")
            diatonic = int(given) if given else round(chromatic * 7 / 12)
            self.transpose[int(element.get("number", "0"))] = (chromatic + 12 * octaves,
                                                               diatonic + 7 * octaves)

    def _note(self, index: int, number: str, item: etree._Element, onset: Fraction,
              length: Fraction, grace: bool) -> None:
        step = (item.findtext("pitch/step") or "").strip()
        alter = int(float(item.findtext("pitch/alter") or 0))
        octave = int(item.findtext("pitch/octave") or 4)
        staff = int(item.findtext("staff") or 1)
        midi = 12 * (octave + 1) + SEMITONES[step] + alter
        chromatic, diatonic = self.transpose.get(staff, self.transpose.get(0, (0, 0)))
        if chromatic or diatonic:
            midi += chromatic
            place = 7 * octave + STEPS.index(step) + diatonic
            step, octave = STEPS[place % 7], place // 7
            alter = midi - 12 * (octave + 1) - SEMITONES[step]
        ties = {t.get("type") for t in item.findall("tie")}
        ties = ties or {t.get("type") for t in item.iterfind("notations/tied")}
        fingers = tuple(int(d) for f in item.iterfind("notations/technical/fingering")
                        for d in re.findall(r"\d", f.text or ""))
        note = Note(self.part, index, number, onset, length, step, alter, octave, midi, staff,
                    item.findtext("voice") or "1", grace,
                    item.find("notations/arpeggiate") is not None,
                    item.find("notations/non-arpeggiate") is not None,
                    fingers, False, self.fifths, self.serial)
        self.notes.append((note, "stop" in ties, "start" in ties))

    def _direction(self, index: int, item: etree._Element, cursor: Fraction) -> None:
        offset = item.find("offset")
        shift = _number(offset.text) / self.divisions if offset is not None else Fraction(0)
        staff = int(item.findtext("staff") or 1)
        self.serial += 1
        for element in item.iterfind("direction-type/*"):
            if element.tag == "words":
                mark = Mark(self.part, cursor + shift, "words", "".join(element.itertext()),
                            element.get("enclosure", "none"), staff, self.serial)
                self.marks.append((index, mark))
            elif element.tag == "harp-pedals":
                setting = tuple((t.findtext("pedal-step", "").strip(),
                                 int(float(t.findtext("pedal-alter", "0"))))
                                for t in element.findall("pedal-tuning"))
                self.marks.append((index, Mark(self.part, cursor + shift, "pedals", "", "none",
                                               staff, self.serial, setting)))
            elif element.tag in ("damp", "damp-all"):
                said = " ".join("".join(w.itertext())
                                for w in item.iterfind("direction-type/words"))
                self.marks.append((index, Mark(self.part, cursor + shift, element.tag, said, "none",
                                               staff, self.serial)))
            elif element.tag in ("segno", "coda"):
                setattr(self.flow[index], element.tag, True)
        at = cursor + shift  # whatever its "sound" says: writers mean the offset for both
        sound = item.find("sound")
        if sound is not None:
            self._sound(index, sound, cursor if sound.find("offset") is not None else at)
        if sound is None or sound.get("tempo") is None:
            for metronome in item.iterfind("direction-type/metronome"):
                self._metronome(index, metronome, at)
        if sound is None:
            self._jump_words(index, item)

    def _sound(self, index: int, item: etree._Element, at: Fraction) -> None:
        offset = item.findtext("offset")
        if offset:
            at += _number(offset) / self.divisions
        tempo = item.get("tempo")
        if tempo and Fraction(tempo) > 0:
            self.tempi.append((index, at, Fraction(tempo)))
        flow = self.flow[index]
        for sign in ("segno", "coda", "fine", "tocoda", "dacapo", "dalsegno"):
            if item.get(sign) is not None and item.get(sign) != "no":
                setattr(flow, sign, True)

    def _metronome(self, index: int, item: etree._Element, at: Fraction) -> None:
        units, minute = item.findall("beat-unit"), item.findtext("per-minute")
        found = re.search(r"\d+(\.\d+)?", minute or "")
        if len(units) != 1 or found is None or units[0].text not in _UNITS:
            return
        unit = Fraction(_UNITS[units[0].text])
        dots = len(item.findall("beat-unit-dot"))
        unit *= 2 - Fraction(1, 2 ** dots)
        if Fraction(found[0]) > 0:
            self.tempi.append((index, at, Fraction(found[0]) * unit))

    def _jump_words(self, index: int, item: etree._Element) -> None:
        text = " ".join("".join(w.itertext()) for w in item.iterfind("direction-type/words"))
        text = re.sub(r"[\s.]+", " ", text).strip().lower()
        flow = self.flow[index]
        flow.dacapo |= re.search(r"\b(d c|da capo)\b|^dc\b", text) is not None
        flow.dalsegno |= re.search(r"\b(d s|dal segno)\b|^ds\b", text) is not None
        flow.trio |= re.match(r"(trio|alternativo|minore|maggiore|musette)\b", text) is not None
        flow.fine |= text == "fine"
        flow.tocoda |= text in ("to coda", "al coda")

    def _barline(self, index: int, item: etree._Element) -> None:
        flow = self.flow[index]
        flow.final |= item.findtext("bar-style") == "light-heavy"
        repeat = item.find("repeat")
        if repeat is not None:
            if repeat.get("direction") == "forward":
                flow.forward = True
            else:
                flow.backward = int(repeat.get("times", "2"))
        ending = item.find("ending")
        if ending is not None:
            if ending.get("type") == "start":
                flow.starts = frozenset(int(d) for d in re.findall(r"\d+",
                                                                   ending.get("number", "")))
            else:
                flow.stops = True
        for sign in ("segno", "coda"):
            if item.find(sign) is not None:
                setattr(flow, sign, True)


def _bars(readers: list[_PartReader], root: etree._Element) -> tuple[Bar, ...]:
    count = max((len(r.lengths) for r in readers), default=0)
    bars: list[Bar] = []
    onset = Fraction(0)
    for i in range(count):
        here = [r for r in readers if i < len(r.lengths)]
        beats, unit = here[0].metres[i]
        length = max(r.lengths[i] for r in here) or Fraction(4 * beats, unit)
        bars.append(Bar(i, here[0].numbers[i], onset, length, beats, unit))
        onset += length
    return tuple(bars)


def _tied(part: str, raw: list[tuple[Note, bool, bool]], bars: tuple[Bar, ...]) -> Iterator[Note]:
    """Join tied notes: a stop continues the open note of its pitch that ends where it begins."""
    placed = [(replace(n, onset=bars[n.bar_index].onset + n.onset), stop, start)
              for n, stop, start in raw]
    placed.sort(key=lambda item: (item[0].onset, not item[0].grace))
    done: list[Note] = []
    ringing: defaultdict[int, list[int]] = defaultdict(list)  # midi -> indices into done
    for note, stop, start in placed:
        at = None
        if stop and not note.grace:
            fits = [i for i in ringing[note.midi] if done[i].end == note.onset]
            at = min(fits, default=None, key=lambda i: (done[i].voice != note.voice,
                                                        done[i].staff != note.staff))
        if at is not None:
            done[at] = replace(done[at], duration=done[at].duration + note.duration)
            if not start:
                ringing[note.midi].remove(at)
            continue
        done.append(replace(note, tie_only=stop and not note.grace))
        if start and not note.grace:
            ringing[note.midi].append(len(done) - 1)
    yield from done


def _flow(readers: list[_PartReader], count: int) -> list[Flow]:
    """Signs of all parts together: a repeat printed in one part holds for all."""
    merged = [Flow() for _ in range(count)]
    for reader in readers:
        for i, flow in reader.flow.items():
            here = merged[i]
            here.backward = max(here.backward, flow.backward)
            here.starts |= flow.starts
            for sign in ("forward", "stops", "segno", "coda", "fine", "tocoda", "dacapo",
                         "dalsegno", "final", "trio"):
                setattr(here, sign, getattr(here, sign) or getattr(flow, sign))
    return merged
