"""Mutations that know what they change: music, notation, markup, bytes, archives, MIDI events.

``mutated(random)`` gives one input; the same random state gives the same bytes on every machine.
"""

from __future__ import annotations

import copy
import io
import struct
import zipfile
from collections.abc import Callable
from random import Random

from lxml import etree

from tests.fuzz_seeds import Seed, excerpt, others, scores, suite

ODD = ("", "0", "-1", "1", "2", "3", "7", "99", "1e9", "two", "99999999999999999999", "½", "٣",
       "1.5", "-0.5", " 2 ", "NaN", "+3", "\n", "x" * 400, "1/0", "0.0001", "16384", "2147483648",
       "-3", "0x10", "1_000", "\u0000".replace("\0", "\ufffd"), "é", "C", "start", "stop", "yes")
NUMBERS = ("0", "1", "2", "3", "4", "5", "6", "7", "8", "12", "16", "24", "48", "480", "10080")
XML_NOTE = ("<note>{}<pitch><step>{}</step><alter>{}</alter><octave>{}</octave></pitch>"
            "<duration>{}</duration><voice>{}</voice><staff>{}</staff></note>")
DIRECTIONS = (
    '<direction><sound tempo="{n}"/></direction>',
    '<direction><direction-type><words>{w}</words></direction-type></direction>',
    '<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{n}'
    '</per-minute></metronome></direction-type></direction>',
    '<direction><direction-type><octave-shift type="{d}" size="{n}"/></direction-type></direction>',
    '<direction><direction-type><harp-pedals><pedal-tuning><pedal-step>{s}</pedal-step>'
    '<pedal-alter>{a}</pedal-alter></pedal-tuning></harp-pedals></direction-type></direction>',
    '<barline location="right"><repeat direction="{r}" times="{n}"/></barline>',
    '<barline location="left"><ending number="{n}" type="{e}"/></barline>',
    '<attributes><key><fifths>{k}</fifths></key></attributes>',
    '<attributes><time><beats>{n}</beats><beat-type>{n}</beat-type></time></attributes>',
    '<attributes><divisions>{n}</divisions></attributes>',
    '<attributes><staves>{n}</staves></attributes>',
    '<attributes><transpose><chromatic>{k}</chromatic></transpose></attributes>',
    '<attributes><clef number="{n}"><sign>{s}</sign><line>{n}</line></clef></attributes>',
    '<attributes><measure-style><measure-repeat type="start">{n}</measure-repeat></measure-style>'
    '</attributes>',
    '<backup><duration>{n}</duration></backup>', '<forward><duration>{n}</duration></forward>',
    '<sound dacapo="yes"/>', '<sound segno="a"/>', '<sound dalsegno="a"/>', '<sound fine="yes"/>',
    '<sound coda="b"/>', '<sound tocoda="b"/>', '<sound tempo="{w}"/>',
    '<harmony><root><root-step>{s}</root-step></root><kind>major</kind></harmony>')
WORDS = ("Allegro", "rit.", "a tempo", "C♯ D♭", "C# Bb", "D.C. al Fine", "pizz.", "♩ = 400", "8va",
         "E♮", "→ F♯", "gliss.", "près de la table", "&#x1D11E;")


def mutated(random: Random, formats: bool = True) -> tuple[str, bytes]:
    """Return suffix and bytes of one input.

    Parameters
    ----------
    formats : whether MIDI, MEI, Humdrum and ABC come among the inputs (one in 48).
    """
    if formats and random.randrange(48) == 0:
        return _other(random)
    root = _tree(random)
    for _ in range(random.choice((0, 1, 1, 1, 2, 2, 3, 4, 6, 10))):
        random.choice(CHANGES)(root, random)
    content = etree.tostring(root, encoding="utf-8", xml_declaration=random.random() < 0.5)
    match random.randrange(40):
        case 0 | 1:
            return ".musicxml", spoiled(content, random)
        case 2:
            return ".mxl", spoiled(packed(content, random), random)
        case 3:
            return ".mxl", packed(content, random)
        case 4:
            return ".xml", _recoded(content, random)
    return ".musicxml", content


def musical(random: Random) -> tuple[str, bytes]:
    """Return a score that is likely still music: for the whole pipeline."""
    root = _tree(random)
    for _ in range(random.choice((0, 1, 2, 3, 5, 8, 12))):
        random.choice(MUSICAL)(root, random)
    return ".musicxml", etree.tostring(root, encoding="utf-8")


def _tree(random: Random) -> etree._Element:
    if random.randrange(4) == 0:
        seed = random.choice(suite())
        return etree.fromstring(seed.content)
    return excerpt(random.choice(scores()), random)


def _elements(root: etree._Element) -> list[etree._Element]:
    return [e for e in root.iterdescendants() if isinstance(e.tag, str)]


def _pick(root: etree._Element, random: Random, *tags: str) -> etree._Element | None:
    found = list(root.iter(*tags)) if tags else _elements(root)
    return random.choice(found) if found else None


def _text(root: etree._Element, random: Random) -> None:
    one = _pick(root, random)
    if one is not None:
        one.text = random.choice(ODD)


def _number(root: etree._Element, random: Random) -> None:
    one = _pick(root, random, "duration", "divisions", "octave", "alter", "staff", "voice",
                "fifths", "beats", "beat-type", "staves", "chromatic", "actual-notes",
                "normal-notes", "per-minute", "octave-change", "diatonic")
    if one is None:
        return
    try:
        one.text = str(int(one.text or "0") + random.choice((-12, -2, -1, 1, 2, 12, 1000)))
    except ValueError:
        one.text = random.choice(NUMBERS)


def _remove(root: etree._Element, random: Random) -> None:
    one = _pick(root, random)
    if one is not None and one.getparent() is not None:
        one.getparent().remove(one)


def _double(root: etree._Element, random: Random) -> None:
    one = _pick(root, random)
    if one is not None and len(list(one.iter())) < 2000:
        one.addnext(copy.deepcopy(one))


def _move(root: etree._Element, random: Random) -> None:
    one, other = _pick(root, random), _pick(root, random)
    if one is None or other is None:
        return
    if one is not other and one not in other.iterancestors():
        other.append(one)


def _swap(root: etree._Element, random: Random) -> None:
    one = _pick(root, random)
    after = None if one is None else one.getnext()
    if after is not None:
        after.addnext(one)


def _rename(root: etree._Element, random: Random) -> None:
    one, other = _pick(root, random), _pick(root, random)
    if one is not None and other is not None:
        one.tag = other.tag


def _attribute(root: etree._Element, random: Random) -> None:
    with_some = [e for e in _elements(root) if e.attrib]
    if not with_some:
        return
    one = random.choice(with_some)
    name = random.choice(sorted(one.attrib))
    if random.random() < 0.3:
        del one.attrib[name]
    else:
        one.set(name, random.choice((*ODD, *WORDS, "2", "P1", "start", "stop")).replace("\0", ""))


def _splice(root: etree._Element, random: Random) -> None:
    """Put a piece of one score into another."""
    piece = _pick(_tree(random), random, "note", "measure", "attributes", "direction", "barline",
                  "notations", "backup", "forward")
    place = _pick(root, random, "measure", "part", "note")
    if piece is not None and place is not None:
        place.insert(random.randrange(len(place) + 1), copy.deepcopy(piece))


def _insert(root: etree._Element, random: Random) -> None:
    place = _pick(root, random, "measure")
    if place is not None:
        place.insert(random.randrange(len(place) + 1), _sign(random))


def _sign(random: Random) -> etree._Element:
    text = random.choice(DIRECTIONS).format(
        n=random.choice(NUMBERS), w=random.choice(WORDS), s=random.choice("ABCDEFG"),
        a=random.choice((-1, 0, 1, 2)), d=random.choice(("up", "down", "stop")),
        r=random.choice(("forward", "backward")), e=random.choice(("start", "stop", "discontinue")),
        k=random.randint(-9, 9))
    return etree.fromstring(text)


def _note(root: etree._Element, random: Random) -> None:
    """A further note: in a chord, as a grace note, in any voice and on any staff."""
    place = _pick(root, random, "note")
    if place is None:
        return
    before = random.choice(("", "", "<chord/>", "<chord/>", "<grace/>", "<cue/>"))
    text = XML_NOTE.format(before, random.choice("ABCDEFG"), random.choice((0, 0, 0, -1, 1, 2, -2)),
                           random.randint(0, 8), random.choice(NUMBERS), random.randint(1, 4),
                           random.choice((1, 1, 2, 2, 3)))
    if before == "<grace/>":
        text = text[:text.index("<duration>")] + text[text.index("</duration>") + 11:]
    place.addnext(etree.fromstring(text))


def _pitch(root: etree._Element, random: Random) -> None:
    one = _pick(root, random, "pitch")
    if one is None:
        return
    for tag, values in (("step", "ABCDEFG"), ("octave", "12345678"), ("alter", ("-1", "0", "1"))):
        child = one.find(tag)
        if child is not None and random.random() < 0.6:
            child.text = random.choice(values)


def _tie(root: etree._Element, random: Random) -> None:
    one = _pick(root, random, "note")
    if one is not None:
        for kind in random.choice((("start",), ("stop",), ("start", "stop"))):
            one.append(etree.Element("tie", {"type": kind}))


def _flag(root: etree._Element, random: Random) -> None:
    """Turn a note into a chord note, a grace note, a rest or back."""
    one = _pick(root, random, "note")
    if one is None:
        return
    tag = random.choice(("chord", "grace", "cue", "rest"))
    found = one.find(tag)
    if found is not None:
        one.remove(found)
    else:
        one.insert(0, etree.Element(tag))


def _fast(root: etree._Element, random: Random) -> None:
    """A tempo no foot can follow, or one that stands still."""
    place = _pick(root, random, "measure")
    if place is not None:
        bpm = random.choice((10, 30, 200, 300, 400, 999))
        place.insert(0, etree.fromstring(f'<direction><sound tempo="{bpm}"/></direction>'))


def _chromatic(root: etree._Element, random: Random) -> None:
    """Alter every note of a bar by chance: hard on pedals."""
    place = _pick(root, random, "measure")
    for pitch in () if place is None else place.iter("pitch"):
        for alter in pitch.findall("alter"):
            pitch.remove(alter)
        alter = etree.Element("alter")
        alter.text = random.choice(("-1", "0", "1"))
        pitch.insert(1, alter)


def _again(root: etree._Element, random: Random) -> None:
    """A bar played again by a copy, or the whole part by a repeat."""
    place = _pick(root, random, "measure")
    if place is not None:
        place.addnext(copy.deepcopy(place))


Change = Callable[[etree._Element, Random], None]
MUSICAL: tuple[Change, ...] = (_note, _note, _pitch, _pitch, _tie, _flag, _fast, _chromatic, _again,
                               _insert, _splice, _swap)
CHANGES: tuple[Change, ...] = (_text, _text, _number, _number, _remove, _double, _move, _swap,
                               _rename, _attribute, _splice, _insert, *MUSICAL)


def spoiled(content: bytes, random: Random) -> bytes:
    """Flip, cut, double or insert bytes."""
    out = bytearray(content)
    for _ in range(random.choice((1, 1, 2, 4, 16))):
        at = random.randrange(len(out) + 1)
        match random.randrange(6):
            case 0 if at < len(out):
                out[at] ^= 1 << random.randrange(8)
            case 1 if at < len(out):
                out[at] = random.choice((0, 1, 0x7F, 0x80, 0xFF, 0x3C, 0x26, random.randrange(256)))
            case 2:
                del out[at:at + random.choice((1, 2, 8, 100))]
            case 3:
                del out[at:]
            case 4:
                out[at:at] = out[at:at + random.choice((1, 4, 64))]
            case _:
                out[at:at] = random.randbytes(random.choice((1, 2, 8)))
    return bytes(out)


def packed(content: bytes, random: Random) -> bytes:
    """Return a .mxl archive, often an odd one."""
    out = io.BytesIO()
    name = random.choice(("score.xml", "score.musicxml", "a/b.xml", "é.xml", "../s.xml", "s", ""))
    listed = name if random.random() < 0.8 else random.choice(("x.xml", "META-INF/container.xml"))
    media = random.choice((' media-type="application/vnd.recordare.musicxml+xml"', "",
                           ' media-type="image/png"'))
    container = (f'<container><rootfiles><rootfile full-path="{listed}"{media}/></rootfiles>'
                 f'</container>')
    with zipfile.ZipFile(out, "w", random.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED,
                                                  zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA))) as archive:
        entries = [("META-INF/container.xml", container.encode()), (name, content)]
        random.shuffle(entries)
        for entry, data in entries:
            if random.random() < 0.97:
                archive.writestr(zipfile.ZipInfo(entry or "s", (1980, 1, 1, 0, 0, 0)), data)
    return out.getvalue()


def _recoded(content: bytes, random: Random) -> bytes:
    text = content.decode()
    coding = random.choice(("utf-16", "utf-16-le", "utf-16-be", "utf-8-sig", "latin-1", "utf-32"))
    if random.random() < 0.5:
        text = text.replace("'utf-8'", f"'{coding}'", 1)
    return text.encode(coding, errors="replace")


def _other(random: Random) -> tuple[str, bytes]:
    seed = random.choice(others())
    if seed.suffix == ".mid":
        return seed.suffix, _midi(seed, random)
    if random.random() < 0.3:
        return seed.suffix, spoiled(seed.content, random)
    lines = seed.content.split(b"\n")[:random.choice((20, 40, 80))]
    for _ in range(random.choice((1, 2, 4))):
        at = random.randrange(len(lines))
        words = lines[at].split(b"\t") if b"\t" in lines[at] else lines[at].split(b" ")
        word = random.randrange(len(words))
        match random.randrange(5):
            case 0:
                del lines[at:at + 1]
                lines = lines or [b""]
            case 1:
                lines.insert(at, random.choice(lines))
            case 2:
                words[word] = random.choice(ODD).encode()
                lines[at] = b"\t".join(words)
            case 3:
                words[word] = spoiled(words[word], random)
                lines[at] = b" ".join(words)
            case _:
                other = random.randrange(len(lines))
                lines[at], lines[other] = lines[other], lines[at]
    return seed.suffix, b"\n".join(lines)


def _midi(seed: Seed, random: Random) -> bytes:
    """Change events, not only bytes: chunk lengths are written anew, so more is read."""
    if random.random() < 0.3:
        return spoiled(seed.content, random)
    content, at = seed.content, 14
    out = bytearray(content[:14])
    if random.random() < 0.3:
        out[12:14] = struct.pack(">H", random.choice((0, 1, 24, 96, 480, 0x7FFF, 0x8000, 0xE728)))
    if random.random() < 0.1:
        out[10:12] = struct.pack(">H", random.choice((0, 1, 2, 255)))
    while at + 8 <= len(content):
        size = int.from_bytes(content[at + 4:at + 8], "big")
        body = content[at + 8:at + 8 + size]
        if random.random() < 0.6 and body:
            body = _events(body, random)
        for _ in range(random.choice((1, 1, 1, 1, 0, 2))):
            out += content[at:at + 4] + struct.pack(">I", len(body)) + body
        at += 8 + size
    return bytes(out)


def _events(body: bytes, random: Random) -> bytes:
    out = bytearray(body)
    for _ in range(random.choice((1, 2, 4))):
        at = random.randrange(len(out))
        match random.randrange(5):
            case 0:
                out[at] = random.randrange(128)
            case 1:
                out[at:at] = bytes((0, 0xFF, random.choice((0x51, 0x58, 0x59, 0x2F, 0x54, 1)), 3,
                                    *random.choices(range(256), k=3)))
            case 2:
                out[at:at] = bytes((random.randrange(128), random.choice((0x90, 0x80, 0xB0, 0xC0)),
                                    random.randrange(128), random.randrange(128)))
            case 3:
                out[at:at] = b"\xff\xff\xff\x7f"
            case _:
                del out[at:at + 3]
                out = out or bytearray(1)
    return bytes(out)
