"""The workbench without a browser: hostile requests, jobs, restarts. The server is a process."""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from http.client import HTTPConnection
from pathlib import Path

import pytest

from arranger.model.errors import SourceError
from arranger.web.store import Store, default_folder, plain_name

ROOT = Path(__file__).parents[1]
TUNE = b"""<score-partwise><part-list><score-part id="P1"><part-name>Piano</part-name></score-part>
</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions>
<time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note></measure></part>
</score-partwise>"""
JSON = {"Content-Type": "application/json"}
SETTINGS = {"parts": ["P1"], "harp": "pedal-47", "player": "average", "tempo": "", "transpose": ""}


class Serving:
    """A server in a process, and how to ask it."""

    def __init__(self, folder: Path, port: int = 0, *more: str) -> None:
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-m", "arranger", "serve", *more, "--port", str(port),
             "--folder", str(folder)], cwd=ROOT, stdout=subprocess.PIPE, text=True,
            stderr=subprocess.PIPE)
        line = self.process.stdout.readline()
        assert line.startswith("Open http://127.0.0.1:"), self.process.stderr.read()
        self.url = line.split()[1]
        self.port = int(self.url.split(":")[2].split("/")[0])

    def ask(self, method, path, body=None, headers=None, timeout=20.0):
        line = HTTPConnection("127.0.0.1", self.port, timeout=timeout)
        try:
            line.request(method, path, body, headers or {})
            answer = line.getresponse()
            return answer.status, answer.read()
        finally:
            line.close()

    def lay(self, name="tune.musicxml", content=TUNE):
        status, body = self.ask("POST", f"/works?name={name}", content)
        assert status == 201, body
        return json.loads(body)["id"]

    def wait(self, work, seconds=60.0):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            state = json.loads(self.ask("GET", f"/works/{work}/state")[1])
            if state["state"] not in ("waiting", "working"):
                return state
            time.sleep(0.05)
        raise AssertionError(state)

    def job(self, work, **told):
        return self.ask("POST", f"/works/{work}/job", json.dumps(told), JSON)

    def end(self, number=signal.SIGTERM):
        self.process.send_signal(number)
        out, err = self.process.communicate(timeout=15)
        return self.process.returncode, out, err


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return tmp_path_factory.mktemp("bench")


@pytest.fixture(scope="module")
def server(place):
    made = Serving(place / "folder")
    yield made
    code, out, err = made.end()
    assert (code, err) == (0, "")
    assert "Everything is kept" in out


def raw(server, content, close=True, wait=3.0):
    """Send bytes as they are; return the first line of the answer, if any comes."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=wait) as line:
        try:
            line.sendall(content)
            if close:
                line.shutdown(socket.SHUT_WR)
            return line.recv(200).split(b"\r\n")[0]
        except OSError:
            return b""


def hostile(port):
    """200 requests as (bytes, statuses that may answer, 0 for none)."""
    host = f"Host: 127.0.0.1:{port}\r\n"
    rng = random.Random(7)
    forbidden = [
        *(f"GET / HTTP/1.1\r\nHost: {h}\r\n\r\n" for h in (
            "evil.example", "127.0.0.1", f"127.0.0.1:{port + 1}", f"127.0.0.1.evil.example:{port}",
            "", f"[::1]:{port}", f"0.0.0.0:{port}", f"evil.example@127.0.0.1:{port}")),
        *(f"POST /demo HTTP/1.1\r\n{host}{h}\r\nContent-Type: application/json\r\n"
          f"Content-Length: 2\r\n\r\n{{}}" for h in (
              "Origin: http://evil.example", "Origin: null", f"Origin: https://127.0.0.1:{port}",
              f"Origin: http://localhost:{port}", f"Origin: http://127.0.0.1:{port}.evil.example",
              "Sec-Fetch-Site: cross-site", "Sec-Fetch-Site: same-site",
              f"Origin: http://127.0.0.1:{port}\r\nOrigin: http://evil.example"))]
    yield from ((line, {403, 400}) for line in forbidden)
    climbs = ["../../etc/passwd", "..%2f..%2fetc%2fpasswd", "%2e%2e/%2e%2e", "....//....//etc",
              "/etc/passwd", "%00", "a%00", "C:%5cWindows", "..\\..\\x", "~root", "."]
    for climb in climbs:
        for path in (f"/works/{climb}", f"/works/{climb}/state", f"/look/{climb}",
                     f"/works/000000000000/files/draft/{climb}", f"/{climb}"):
            yield f"GET {path} HTTP/1.1\r\n{host}\r\n", {404, 400, 405}
        yield (f"POST /works?name={climb} HTTP/1.1\r\n{host}Content-Length: 1\r\n\r\nx", {422, 400})
        yield (f"DELETE /works/{climb} HTTP/1.1\r\n{host}\r\n", {404, 400, 405})
    for kind in ("exe", "html", "toml", "py", "zip", "", "musicxml.sh"):
        yield (f"POST /works?name=x.{kind} HTTP/1.1\r\n{host}Content-Length: 3\r\n\r\nabc", {422})
    for size in ("99999999999", "-1", "1e3", "33554433", "abc", "\u0664"):
        yield (f"POST /works?name=x.xml HTTP/1.1\r\n{host}Content-Length: {size}\r\n\r\nabc",
               {413, 400})
    for size in (10, 1000, 10**6):  # half-sent
        yield (f"POST /works?name=x.xml HTTP/1.1\r\n{host}Content-Length: {size}\r\n\r\n<sc",
               {0, 400})
    for body in ("", "[]", "null", "{", '{"name": 3}', '{"name": "../x"}', "[" * 50000, "\x00"):
        yield (f"POST /demo HTTP/1.1\r\n{host}Content-Type: application/json\r\n"
               f"Content-Length: {len(body)}\r\n\r\n{body}", {400, 404})
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        yield (f"POST /demo HTTP/1.1\r\n{host}Content-Type: {kind}\r\nContent-Length: 2\r\n\r\n"
               "{}", {415})
    for method in ("PUT", "TRACE", "CONNECT", "OPTIONS", "PATCH", "BREW"):
        yield f"{method} /works HTTP/1.1\r\n{host}\r\n", {405, 400, 404}
    yield f"GET / HTTP/1.1\r\n{host}X: {'y' * 70000}\r\n\r\n", {0, 200, 400, 431}
    yield f"GET /{'y' * 70000} HTTP/1.1\r\n{host}\r\n", {0, 400, 404, 414}
    while True:
        yield "".join(chr(rng.randrange(256)) for _ in range(rng.randrange(1, 300))), {0, 400}


def files_of(folder):
    return {p.relative_to(folder): p.stat().st_mtime_ns for p in folder.rglob("*") if p.is_file()}


def test_two_hundred_hostile_requests_leave_it_answering(server, place):
    (place / "secret.musicxml").write_bytes(TUNE)
    before = files_of(place)
    for _, (content, allowed) in zip(range(200), hostile(server.port), strict=False):
        line = raw(server, content.encode("latin-1", "replace"))
        status = int(line.split()[1]) if line.startswith(b"HTTP/1.1 ") else 0
        assert status in allowed, (content[:120], line)
    assert server.ask("GET", "/")[0] == 200
    assert files_of(place) == before


def test_twenty_at_once(server, place):
    """Uploads, half of them broken off, beside one another: the page answers all the while."""
    known = len(list((place / "folder" / "works").iterdir()))
    slow = [socket.create_connection(("127.0.0.1", server.port)) for _ in range(10)]
    for line in slow[:3]:
        line.sendall(b"POST /works?name=s.xml HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n"
                     b"Content-Length: 9000\r\n\r\n<score" % server.port)
    got = []
    threads = [threading.Thread(target=lambda: got.append(server.lay())) for _ in range(10)]
    for thread in threads:
        thread.start()
    begun = time.monotonic()
    assert server.ask("GET", "/")[0] == 200
    assert time.monotonic() - begun < 5
    for thread in threads:
        thread.join(30)
    for line in slow:
        line.close()
    assert len(set(got)) == 10
    assert len(list((place / "folder" / "works").iterdir())) == known + 10
    for work in got:
        assert server.ask("DELETE", f"/works/{work}")[0] == 200
        assert server.ask("GET", f"/works/{work}/state")[0] == 404


def test_too_large_a_score_is_refused_while_it_comes(server, place):
    """Sent in pieces it does not tell its size; 40 MB of it are not kept."""
    before = files_of(place)
    with socket.create_connection(("127.0.0.1", server.port), timeout=20) as line:
        line.sendall(b"POST /works?name=x.xml HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n"
                     b"Transfer-Encoding: chunked\r\n\r\n" % server.port)
        with contextlib.suppress(ConnectionError):
            for _ in range(40):
                line.sendall(b"100000\r\n" + b"x" * 2**20 + b"\r\n")
            line.sendall(b"0\r\n\r\n")
        answer = b""
        with contextlib.suppress(ConnectionError):
            answer = line.recv(100)
    assert answer[:12] in (b"", b"HTTP/1.1 413")
    assert files_of(place) == before
    assert server.ask("GET", "/")[0] == 200


def test_a_score_is_read_arranged_and_taken_home(server):
    work = server.lay("My%20little%20Tune.musicxml")
    assert server.wait(work)["state"] == "done"
    assert server.job(work, kind="ways")[0] == 409
    assert server.job(work, kind="convert", **{**SETTINGS, "harp": "../x"})[0] == 400
    assert server.job(work, kind="convert", **SETTINGS)[0] == 202
    assert server.job(work, kind="check", **SETTINGS)[0] == 409
    state = server.wait(work)
    assert state["said"] == "The draft is made."
    for name in ("draft.musicxml", "part.pdf", "draft.mid", "report.html", "report.json"):
        assert server.ask("GET", f"/works/{work}/files/draft/{name}?home")[0] == 200
    assert server.ask("GET", f"/works/{work}/files/work.json")[0] == 404
    assert b"My little Tune" in server.ask("GET", "/")[1]
    choice = "1:1:C4:hand-left"
    assert server.job(work, kind="take", take="nonsense")[0] == 400
    assert server.job(work, kind="take", take=choice)[0] == 202
    assert server.wait(work)["said"] == "Your choice is in the draft."
    assert b"left" in server.ask("GET", f"/works/{work}/files/choices.toml")[1]
    assert b"in the left hand" in server.ask("GET", f"/works/{work}/desk")[1]
    assert server.job(work, kind="undo")[0] == 202
    assert server.wait(work)["said"] == "The last change is undone."
    assert server.job(work, kind="undo")[0] == 409
    assert server.ask("GET", f"/works/{work}/files/choices.toml")[1] == b""


def test_a_choice_out_of_the_middle_is_taken_back_and_the_others_stay(server):
    three = b"".join(TUNE[TUNE.index(b"<note>"):TUNE.index(b"</measure>")].replace(
        b"<step>C", b"<step>" + step).replace(b"<duration>4", b"<duration>1")
        for step in (b"C", b"D", b"E"))
    work = server.lay(content=TUNE[:TUNE.index(b"<note>")] + three
                      + TUNE[TUNE.index(b"</measure>"):])
    server.wait(work)
    server.job(work, kind="convert", **SETTINGS)
    server.wait(work)
    ids = ["1:1:C4:hand-left", "1:2:D4:hand-left", "1:3:E4:hand-left"]
    for ident in ids:
        assert server.job(work, kind="take", take=ident)[0] == 202
        assert server.wait(work)["state"] == "done"

    def told():
        report = json.loads(server.ask("GET", f"/works/{work}/files/draft/report.json")[1])
        return (report.get("choices", {}).get("kept", []), report["choices"]["file"],
                [n["hand"] for n in report["notes"]])
    assert told()[::2] == (ids, ["L", "L", "L"])
    assert server.job(work, kind="leave", leave="nonsense")[0] == 400
    assert server.job(work, kind="leave", leave=ids[1])[0] == 202
    assert server.wait(work)["said"] == "The choice is taken back."
    assert told()[:2] == ([ids[0], ids[2]], "choices.toml")
    desk = server.ask("GET", f"/works/{work}/desk")[1].decode()
    assert [i for i in ids if f'data-leave="{i}"' in desk] == [ids[0], ids[2]]
    assert server.job(work, kind="undo")[0] == 202
    assert server.wait(work)["said"] == "The last change is undone."
    assert told() == (ids, "choices.toml", ["L", "L", "L"])
    assert not list(server.folder.glob(f"works/{work}/.*"))


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="the processes of a process, from /proc")
def test_the_process_that_waits_for_a_job_is_replaced_where_it_has_died(server):
    work = server.lay()
    server.wait(work)
    children = Path(f"/proc/{server.process.pid}/task/{server.process.pid}/children")

    def until(there: bool) -> None:
        end = time.monotonic() + 20
        while bool(children.read_text().split()) != there:
            assert time.monotonic() < end
            time.sleep(0.05)
    until(there=True)
    waiting, = map(int, children.read_text().split())
    os.kill(waiting, signal.SIGKILL)
    until(there=False)
    server.job(work, kind="convert", **SETTINGS)
    assert server.wait(work)["said"] == "The draft is made."


@pytest.mark.parametrize(("content", "words"), [
    (b"no score at all", "not MusicXML"), (TUNE[:-9], "well-formed"),
    (b"PK\x03\x04rubbish", "archive")])
def test_what_cannot_be_read_is_told_with_what_to_do(server, content, words):
    work = server.lay("broken.xml", content)
    state = server.wait(work)
    assert state["state"] == "failed"
    assert words in state["said"]
    assert "xport the score again as MusicXML" in state["said"]
    assert str(ROOT) not in state["said"]
    assert "works" not in state["said"]


def test_a_restart_takes_up_what_was_under_way_and_stop_stops_it(tmp_path):
    first = Serving(tmp_path)
    work = first.lay("mill.musicxml", (ROOT / "corpus" / "the-mill-race" /
                                       "score.musicxml").read_bytes())
    first.wait(work)
    assert first.job(work, kind="convert", **SETTINGS)[0] == 202
    while json.loads(first.ask("GET", f"/works/{work}/state")[1])["state"] == "waiting":
        time.sleep(0.02)
    code, _, err = first.end(signal.SIGINT)
    assert (code, err) == (0, "")
    assert json.loads((tmp_path / "works" / work / "job.json").read_bytes())["state"] == "working"
    second = Serving(tmp_path)
    state = json.loads(second.ask("GET", f"/works/{work}/state")[1])
    assert state["state"] in ("waiting", "working")
    assert second.ask("POST", f"/works/{work}/stop", "{}", JSON)[0] == 200
    assert second.wait(work)["said"] == "Stopped. Nothing was changed."
    assert not (tmp_path / "works" / work / "draft").exists()
    other = subprocess.run([sys.executable, "-m", "arranger", "serve", "--port", "0", "--folder",
                            str(tmp_path)], cwd=ROOT, capture_output=True, text=True, check=False)
    assert other.returncode == 3
    assert "another arranger serve is using it" in other.stderr
    taken = subprocess.run([sys.executable, "-m", "arranger", "serve", "--port", str(second.port),
                            "--folder", str(tmp_path / "b")], cwd=ROOT, capture_output=True,
                           text=True, check=False)
    assert taken.returncode == 2
    assert "give another with --port" in taken.stderr
    second.process.kill()
    second.process.communicate()


@pytest.mark.parametrize(("given", "title"), [
    ("../../etc/cron.d/x.musicxml", "x"), ("C:\\music\\Étude Op. 3.MXL", "Étude Op. 3"),
    ("<script>.xml", "script"), ("\u202egnp.mid", "gnp"), ("...xml", "Score without a name"),
    ("é" * 300 + ".abc", "é" * 80)])
def test_names_are_made_plain(given, title):
    assert plain_name(given)[0] == title


def test_what_is_no_score_is_refused_by_its_name(tmp_path):
    with pytest.raises(SourceError, match="Export the score as MusicXML"):
        Store(tmp_path).add("photo.jpeg", b"x")
    with pytest.raises(SourceError, match="empty"):
        Store(tmp_path).add("x.xml", b" ")
    assert Store(tmp_path).find("../works") is None


def test_the_folder_is_the_users_own(monkeypatch, tmp_path):
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert default_folder() == tmp_path / "arranger"
