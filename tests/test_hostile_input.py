"""Bad input is refused in one clear line, at once, and without eating the machine."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
import zipfile
from pathlib import Path
from random import Random

import pytest
from lxml import etree

from arranger.io import musicxml_tree
from arranger.io.musicxml_read import read
from arranger.io.source import open_source, sha256
from arranger.model.errors import SourceError

HEAD = ('<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Harp</part-name>'
        '</score-part></part-list><part id="P1"><measure number="7">')
DIVISIONS = "<attributes><divisions>2</divisions></attributes>"
NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>2</duration></note>"
TAIL = "</measure></part></score-partwise>"
GOOD = HEAD + DIVISIONS + NOTE + TAIL
CONTAINER = ('<container><rootfiles><rootfile full-path="{}" '
             'media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>')


def bar(content: str) -> str:
    return HEAD + content + TAIL


def with_note(change: str, to: str) -> str:
    return HEAD + DIVISIONS + NOTE.replace(change, to) + TAIL


def archive(entries: dict[str, str | bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in entries.items():
            out.writestr(name, content)
    return packed.getvalue()


def mxl(score: str | bytes = GOOD, name: str = "score.xml", listed: str = "") -> bytes:
    return archive({"META-INF/container.xml": CONTAINER.format(listed or name), name: score})


def lying_zip() -> bytes:
    """A zip bomb that declares a small size, so only the real bytes give it away."""
    honest = mxl(b"<score-partwise>" + b" " * 20_000_000)
    return honest.replace((20_000_016).to_bytes(4, "little"), (500).to_bytes(4, "little"))


def midi(events: bytes) -> bytes:
    """A file of one track, 96 ticks to the quarter note."""
    return (b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk" + len(events).to_bytes(4, "big") + events)


LAUGHS = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10 if i else "ha"}">' for i in range(12))
PRIMES = (9999991, 9999973, 9999971)

#: what it is: (suffix, content, words of the message)
BAD: dict[str, tuple[str, str | bytes, str]] = {
    "empty": (".musicxml", "", "the file is empty"),
    "blank": (".xml", " \n\t ", "the file is empty"),
    "truncated": (".musicxml", GOOD[:-30], "truncated or damaged"),
    "not XML": (".xml", "Dear harpist,", "not XML"),
    "binary": (".musicxml", bytes(range(128, 256)) * 4, "not XML"),
    "wrong root": (".xml", "<html><note/></html>", "its root is <html>"),
    "no notes": (".musicxml", bar(DIVISIONS), "no notes in it"),
    "only rests": (".musicxml", with_note("<pitch><step>C</step><octave>4</octave></pitch>",
                                          "<rest/>"), "no notes of definite pitch"),
    "no parts": (".musicxml", "<score-partwise><!-- <note/> --></score-partwise>", "no parts"),
    "laughs": (".musicxml", f"<!DOCTYPE score-partwise [{LAUGHS}]>"
               + GOOD.replace("Harp", "&l11;"), "XML entities"),
    "external entity": (".musicxml", '<!DOCTYPE score-partwise [<!ENTITY x SYSTEM '
                        '"file:///etc/passwd">]>' + GOOD.replace("Harp", "&x;"), "XML entities"),
    "undefined entity": (".musicxml", GOOD.replace("Harp", "&nothing;"), "damaged"),
    "laughs in UTF-16": (".xml", (f"<!DOCTYPE score-partwise [{LAUGHS}]>" + GOOD).encode("utf-16"),
                         "XML entities"),
    "strange encoding": (".xml", f'<?xml version="1.0" encoding="utf-7"?>{GOOD}', "utf-7"),
    "tag bomb": (".xml", bar(NOTE + "<a/>x" * 300_000), "far too many XML tags"),
    "attribute bomb": (".xml", bar(NOTE + "<a b='' c='' d=''/>" * 90_000),
                       "far too many XML tags"),
    "deep nesting": (".xml", bar(NOTE + "<a>" * 30_000 + "</a>" * 30_000), "damaged"),
    "zip bomb": (".mxl", mxl(b"<score-partwise>" + b" " * 20_000_000), "zip bomb"),
    "lying zip bomb": (".mxl", lying_zip(), "damaged"),
    "container bomb": (".mxl", archive({"META-INF/container.xml": b" " * 20_000_000}), "zip bomb"),
    "crowded archive": (".mxl", archive({f"f{i}": b"" for i in range(1500)}), "too much in it"),
    "climbing entry": (".mxl", archive({"META-INF/container.xml": CONTAINER.format("s.xml"),
                                        "../../s.xml": GOOD}), "points outside"),
    "climbing root file": (".mxl", mxl(listed="../s.xml"), "points outside"),
    "absolute root file": (".mxl", mxl(listed="/etc/passwd"), "points outside"),
    "no container": (".mxl", archive({"score.xml": GOOD}), "without META-INF/container.xml"),
    "empty container": (".mxl", archive({"META-INF/container.xml": "<container/>"}),
                        "names no score"),
    "broken container": (".mxl", archive({"META-INF/container.xml": "<container>"}),
                         "not well-formed"),
    "missing root file": (".mxl", mxl(listed="other.xml"), "not in the archive"),
    "cut archive": (".mxl", mxl()[:-40], "damaged or unsupported .mxl"),
    "archive in archive": (".mxl", mxl(mxl()), "not XML"),
    "no divisions": (".musicxml", bar(NOTE), "bar 7, part P1: a duration stands before"),
    "zero divisions": (".musicxml", bar("<attributes><divisions>0</divisions></attributes>" + NOTE),
                       "bar 7, part P1: 0 divisions"),
    "negative divisions": (".musicxml", GOOD.replace("<divisions>2", "<divisions>-2"),
                           "bar 7, part P1: -2 divisions"),
    "divisions of words": (".musicxml", GOOD.replace("<divisions>2", "<divisions>two"),
                           "bar 7, part P1: <divisions> is not a number: 'two'"),
    "exponent": (".musicxml", GOOD.replace("<divisions>2", "<divisions>1e999999999"),
                 "bar 7, part P1: <divisions> is not a number"),
    "clashing divisions": (".musicxml", bar("".join(
        f"<attributes><divisions>{p}</divisions></attributes>" for p in PRIMES) + NOTE),
        "different <divisions>"),
    "negative duration": (".musicxml", with_note("<duration>2", "<duration>-2"),
                          "bar 7, part P1: a duration of -2"),
    "endless duration": (".musicxml", with_note("<duration>2", "<duration>" + "9" * 17),
                         "bar 7, part P1: a duration of 999"),
    "duration of words": (".musicxml", with_note("<duration>2", "<duration>long"), "not a number"),
    "no duration": (".musicxml", with_note("<duration>2</duration>", ""), "<note> is missing"),
    "endless bar": (".musicxml", bar(DIVISIONS + NOTE.replace(">2<", ">2000<") * 9), "longer than"),
    "no step": (".musicxml", with_note("<step>C</step>", ""), "bar 7, part P1: '' is no step"),
    "step H": (".musicxml", with_note("<step>C", "<step>H"), "'H' is no step"),
    "octave 99": (".musicxml", with_note("<octave>4", "<octave>99"), "the octave is 99"),
    "quarter tone": (".musicxml", with_note("</step>", "</step><alter>0.5</alter>"),
                     "quarter tone"),
    "alter 400": (".musicxml", with_note("</step>", "</step><alter>400</alter>"),
                  "400 semitones"),
    "metre 4/0": (".musicxml", bar("<attributes><divisions>2</divisions><time><beats>4</beats>"
                                   "<beat-type>0</beat-type></time></attributes>" + NOTE),
                  "the metre is 0"),
    "endless repeat": (".musicxml", bar(DIVISIONS + NOTE + '<barline><repeat direction="backward" '
                                        'times="999999999"/></barline>'), "makes no sense"),
    "huge chord": (".musicxml", bar(DIVISIONS + NOTE.replace("<note>", "<note><chord/>") * 500),
                   "a chord of more than"),
    "two parts, one id": (".musicxml", GOOD.replace("</score-partwise>", "") + GOOD[
        GOOD.index('<part id'):], "two parts have the same id"),
    "utf-16 without end": (".xml", GOOD.encode("utf-16")[:-31], "not readable text"),
    "half a surrogate": (".xml", b"\xff\xfe<\x00s\x00\x00\xd8", "not readable text"),
    "PI bomb": (".xml", bar(NOTE + "<?a b?>" * 300_000), "far too many XML tags"),
    "comment bomb": (".xml", bar(NOTE + "<!---->" * 300_000), "far too many XML tags"),
    "name of a megabyte": (".xml", bar(NOTE + f"<{'a' * 2_000_000}/>"), "damaged"),
    "staff of words": (".musicxml", with_note("</note>", "<staff>up</staff></note>"),
                       "bar 7, part P1: <staff> is not a number: 'up'"),
    "staff 10000": (".musicxml", with_note("</note>", "<staff>10000</staff></note>"),
                    "1 to 20 can be read"),
    "octave of a hundred digits": (".musicxml", with_note("<octave>4", "<octave>" + "9" * 100),
                                   "<octave> is not a number"),
    "two part-lists": (".musicxml", GOOD.replace("<part-list>", "<part-list/><part-list>"),
                       "two part-lists"),
    "a part listed twice": (".musicxml", GOOD.replace(
        "</part-list>", '<score-part id="P1"><part-name/></score-part></part-list>'), "same id"),
    "MIDI cut": (".mid", midi(b"\0\x90")[:-1], "truncated or damaged MIDI"),
    "MIDI without tracks": (".mid", midi(b"")[:14], "MIDI file with no events"),
    "MIDI in frames": (".mid", midi(b"\0\x90\x3c\x40").replace(b"\0\x60", b"\xe7\x28", 1),
                       "SMPTE"),
    "MIDI of a year": (".mid", midi(b"\xff\xff\xff\x7f\x90\x3c\x40" * 40),
                       "quarter notes; no piece"),
    "ABC metre": (".abc", "X:1\nM:4/4\nL:1/99999999\nK:C\nC99999999|\n", "beyond any music"),
    "Humdrum length": (".krn", "**kern\n99999999c\n*-\n", "beyond any music"),
    "entities in MEI": (".mei", "<!DOCTYPE mei [<!ENTITY a 'b'>]><mei>&a;</mei>", "XML entities"),
    "too many bars": (".musicxml", GOOD.replace("</part>", "<measure/>" * 20_001 + "</part>"),
                      "more than 20000 bars"),
}


def write(folder: Path, kind: str) -> Path:
    suffix, content, _ = BAD[kind]
    path = folder / f"bad{suffix}"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def refusal(path: Path) -> str:
    with pytest.raises(SourceError) as caught:
        read(open_source(path), str(path))
    message = str(caught.value)
    assert str(path) in message
    assert "\n" not in message
    assert len(message) < 300 + len(str(path))
    assert caught.value.exit_status == 3
    return message


@pytest.mark.parametrize("kind", BAD)
def test_bad_input_is_refused_in_one_line_at_once(kind: str, tmp_path: Path) -> None:
    path = write(tmp_path, kind)
    begun = time.perf_counter()
    assert BAD[kind][2] in refusal(path)
    assert time.perf_counter() - begun < 1


def test_the_good_twin_of_all_these_is_read(tmp_path: Path) -> None:
    for name, content in {"a.musicxml": GOOD.encode(), "b.mxl": mxl(), "c.xml": mxl(),
                          "d.xml": GOOD.encode("utf-16"), "e.mxl": GOOD.encode("utf-16-le"),
                          "f.xml": b"\xef\xbb\xbf" + GOOD.encode()}.items():
        path = tmp_path / name
        path.write_bytes(content)
        assert [n.midi for n in read(open_source(path)).score.notes] == [60], name


def test_all_of_them_stay_small(tmp_path: Path) -> None:
    """Peak memory of a fresh process that refuses all of them, its imports included."""
    paths = []
    for kind in BAD:
        folder = tmp_path / str(len(paths))
        folder.mkdir()
        paths.append(str(write(folder, kind)))
    program = f"""
import resource
from pathlib import Path
from arranger.io.musicxml_read import read
from arranger.io.source import open_source
from arranger.model.errors import SourceError
refused = 0
for path in {paths!r}:
    try:
        read(open_source(Path(path)), path)
    except SourceError:
        refused += 1
print(refused, open("/proc/self/status").read().split("VmHWM:")[1].split()[0])
"""
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True,
                         cwd=Path(__file__).parents[1], text=True)
    refused, kilobytes = map(int, run.stdout.split())
    assert refused == len(BAD)
    assert kilobytes < 200_000


RICH = HEAD + """<attributes><divisions>2</divisions><key><fifths>1</fifths></key><time>
<beats>3</beats><beat-type>4</beat-type></time><staves>2</staves><transpose><diatonic>-1</diatonic>
<chromatic>-2</chromatic><octave-change>0</octave-change></transpose></attributes>
<direction><direction-type><metronome><beat-unit>half</beat-unit><beat-unit-dot/><per-minute>60
</per-minute></metronome></direction-type><offset>1</offset><sound tempo="60" dacapo="yes"/>
</direction><note><grace/><pitch><step>D</step><alter>-1</alter><octave>4</octave></pitch></note>
<note><pitch><step>C</step><octave>4</octave></pitch><duration>3</duration><tie type="start"/>
<type>quarter</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>
</time-modification><voice>1</voice><staff>2</staff></note><backup><duration>1</duration></backup>
<forward><duration>2</duration></forward><barline><ending number="1" type="start"/><repeat
direction="backward" times="3"/></barline>""" + NOTE + TAIL
ODD = ("", "0", "-1", "1e9", "two", "99999999999999999999", "½", "٣", "1.5", "-0.5", " 2 ", "NaN",
       "+3", "\n", "x" * 400)


def test_whatever_is_changed_the_answer_is_a_score_or_one_line() -> None:
    chance = Random(1)
    refused = 0
    for _ in range(600):
        root = etree.fromstring(RICH)
        for _ in range(chance.randint(1, 3)):
            elements = list(root.iter())[1:]
            one, other = chance.choice(elements), chance.choice(elements)
            match chance.randrange(4):
                case 0:
                    one.text = chance.choice(ODD)
                case 1:
                    one.tag = other.tag
                case 2 if one.getparent() is not None:
                    one.getparent().remove(one)
                case _ if one.attrib:
                    one.set(chance.choice(one.keys()), chance.choice(ODD))
        try:
            read(musicxml_tree.parse(etree.tostring(root), "test"), "test")
        except SourceError as error:
            refused += 1
            assert str(error).startswith("test: ")  # noqa: PT017 - many inputs, one test
            assert "\n" not in str(error)  # noqa: PT017 - as above
    assert 150 < refused < 450


def test_missing_file_folder_device_and_unknown_suffix(tmp_path: Path) -> None:
    assert "no such file" in refusal(tmp_path / "missing.musicxml")
    (tmp_path / "folder.xml").mkdir()
    assert "is a folder" in refusal(tmp_path / "folder.xml")
    os.mkfifo(tmp_path / "pipe.mxl")
    assert "not a regular file" in refusal(tmp_path / "pipe.mxl")
    assert "files of type .pdf are not read" in refusal(tmp_path / "score.pdf")
    assert "without a suffix" in refusal(tmp_path / "score")
    assert "cannot be read" in refusal(tmp_path / ("x" * 300 + ".xml"))


def test_no_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "locked.musicxml"
    path.write_text(GOOD)

    def locked(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", locked)  # a mode of 000 does not stop the superuser
    assert "permission denied" in refusal(path)


def test_larger_than_any_score(tmp_path: Path) -> None:
    path = tmp_path / "large.xml"
    with path.open("wb") as stream:
        stream.truncate(musicxml_tree.LARGEST_XML + 1)  # sparse: takes no room on the disk
    assert "larger than 64 MB" in refusal(path)


def test_sha256_is_of_the_bytes(tmp_path: Path) -> None:
    (tmp_path / "abc").write_bytes(b"abc")  # the test vector of FIPS 180-4
    assert sha256(tmp_path / "abc").startswith("ba7816bf8f01cfea414140de5dae2223")
