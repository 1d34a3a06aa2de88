"""What the server answers: two pages, the files made, and the few things asked of it."""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
from collections.abc import AsyncIterator, Awaitable, Callable
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from arranger.model.choice import Choice
from arranger.model.errors import ArrangerError, ChoiceError
from arranger.report.engraver import EngravingError
from arranger.web import printing
from arranger.web.guard import Guard
from arranger.web.jobs import Busy, Jobs
from arranger.web.pages import bench, desk, home, shelf, standing, trouble
from arranger.web.shelf import demos, settings
from arranger.web.store import LARGEST, Store, Work

#: Seconds for the whole of an upload, bytes of a request that is no upload, uploads side by side.
UPLOAD_SECONDS, LARGEST_ASKED, UPLOADS = 60.0, 64 * 2**10, 4
#: What may be fetched: folder, file -> what it is called at home, and its type.
TAKEN_HOME = {
    ("draft", "draft.musicxml"): ("harp draft.musicxml", "application/vnd.recordare.musicxml+xml"),
    ("draft", "part.pdf"): ("harp part.pdf", "application/pdf"),
    ("draft", "draft.mid"): ("harp draft.mid", "audio/midi"),
    ("draft", "report.html"): ("report.html", "text/html; charset=utf-8"),
    ("draft", "report.json"): ("report.json", "application/json"),
    ("check", "marked.musicxml"): ("marked.musicxml", "application/vnd.recordare.musicxml+xml"),
    ("check", "report.html"): ("check.html", "text/html; charset=utf-8"),
    ("check", "report.json"): ("check.json", "application/json"),
    ("", "choices.toml"): ("choices.toml", "application/toml")}
_WHOLE = re.compile(r"draft-([a-z-]{1,40})\.musicxml")
_BARS = re.compile(r"\w{1,12}(-\w{1,12})?")
_ASSETS = {"web.css": "text/css", "web.js": "text/javascript"}
_FONTS = {"regular.ttf": "SourceSerifPro-Regular.ttf", "italic.ttf": "SourceSerifPro-It.ttf",
          "semibold.ttf": "SourceSerifPro-Semibold.ttf"}
Answer = Callable[[Request], Awaitable[Response]]


class Refused(Exception):
    """What is asked cannot be done; says what to do instead."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


class Bench:
    """The answers, over one store and its jobs."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.jobs = Jobs(store)
        self.uploads = asyncio.Semaphore(UPLOADS)

    @contextlib.asynccontextmanager
    async def alive(self, _: Starlette) -> AsyncIterator[None]:
        """Work on the jobs as long as the server lives."""
        self.jobs.resume()
        running = asyncio.create_task(self.jobs.run())
        yield
        running.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await running

    def work(self, request: Request) -> Work:
        """Return the work of an address."""
        found = self.store.find(request.path_params["id"])
        if found is None:
            raise Refused(404, "This score is not here. It may have been removed; all that are "
                               "kept stand on the first page.")
        return found

    async def home(self, _: Request) -> Response:
        """The first page."""
        return HTMLResponse(home(self.store.all(), demos()))

    async def shelf(self, _: Request) -> Response:
        """The list of works on it, which changes."""
        return HTMLResponse(shelf(self.store.all()))

    async def bench(self, request: Request) -> Response:
        """The page of a work."""
        return HTMLResponse(bench(self.work(request)))

    async def desk(self, request: Request) -> Response:
        """What changes on it."""
        return HTMLResponse(desk(self.work(request)))

    async def state(self, request: Request) -> Response:
        """How the job of a work stands."""
        return JSONResponse(standing(self.work(request)))

    async def add(self, request: Request) -> Response:
        """Take a score in."""
        content = await _body(request, LARGEST, self.uploads)
        work = self.store.add(request.query_params.get("name", ""), content)
        self.jobs.added(work)
        return JSONResponse({"id": work.id}, 201)

    async def demo(self, request: Request) -> Response:
        """Take one of the demo scores in."""
        asked = await _asked(request)
        title, path = demos().get(str(asked.get("name")), ("", Path()))
        if not title:
            raise Refused(404, "There is no such demo score. Choose one from the first page.")
        work = self.store.add(f"{title}{path.suffix}", path.read_bytes())
        self.jobs.added(work)
        return JSONResponse({"id": work.id}, 201)

    async def ask(self, request: Request) -> Response:
        """Begin a job: a draft, a check, other ways, a choice, or taking one back."""
        work, asked = self.work(request), await _asked(request)
        kind = asked.get("kind")
        told = work.told("work")
        if kind in ("convert", "check"):
            told["settings"] = settings(asked, work.told("parts"))
            work.tell("work", told)
            self.jobs.ask(work, str(kind), settings=told["settings"])
        elif kind == "read":
            self.jobs.ask(work, "read")
        elif kind in ("ways", "take", "leave", "undo"):
            if not work.made("draft"):
                raise Refused(409, "Make the harp draft first.")
            self.jobs.ask(work, str(kind), settings=told["settings"], **_change(work, asked))
        else:
            raise Refused(400, "This is not something the page asks for. Load it again.")
        return JSONResponse({}, 202)

    async def cancel(self, request: Request) -> Response:
        """Stop the job of a work."""
        work = self.work(request)
        await _asked(request)
        self.jobs.cancel(work)
        return JSONResponse({})

    async def remove(self, request: Request) -> Response:
        """Take a work away."""
        work = self.work(request)
        self.jobs.cancel(work)
        self.store.remove(work)
        return JSONResponse({})

    async def made(self, request: Request) -> Response:
        """A file that was made: shown, or with ``?home`` taken home under the title of the work."""
        work = self.work(request)
        kind, name = request.path_params.get("kind", ""), request.path_params["name"]
        called, media = TAKEN_HOME.get((kind, name), ("", ""))
        whole = _WHOLE.fullmatch(name) if kind == "ways" else None
        if whole:
            called, media = (f"harp draft, {whole[1]}.musicxml",
                             "application/vnd.recordare.musicxml+xml")
        path = work.folder / kind / name
        if (kind, name) == ("draft", printing.NAME):
            try:
                await asyncio.to_thread(printing.print_part, work)
            except EngravingError as error:
                raise Refused(409, str(error)) from error
        if not called or not path.is_file():
            raise Refused(404, "This was not made yet. Go back to the score and make it.")
        headers = {}
        if media.startswith("text/html"):
            headers["Content-Security-Policy"] = "frame-ancestors 'self'; sandbox allow-scripts"
        if "home" in request.query_params:
            title = quote(f"{work.title.replace(':', '')} - {called}", safe="")
            headers["Content-Disposition"] = f"attachment; filename*=UTF-8''{title}"
        return FileResponse(path, media_type=media, headers=headers)

    async def asset(self, request: Request) -> Response:
        """Style, script and letters of the pages."""
        name = request.path_params["name"]
        if name in _ASSETS:
            text = files("arranger.web").joinpath(name).read_bytes()
            if name == "web.css":
                text = _colours() + text
            return Response(text, media_type=_ASSETS[name])
        if name in _FONTS:
            font = files("font_source_serif_pro").joinpath("files", _FONTS[name])
            return Response(font.read_bytes(), media_type="font/ttf")
        raise Refused(404, "There is no such page. Begin at the first one.")


def _colours() -> bytes:
    """The colours of the report page, which the workbench shares."""
    style = files("arranger.report").joinpath("page.css").read_text("utf-8")
    return style[:style.index("* {")].encode()


def _change(work: Work, asked: dict[str, Any]) -> dict[str, Any]:
    """What a choice, or taking one back, is told besides the settings."""
    kind, changes = asked["kind"], work.changes()
    if kind in ("take", "leave"):
        option = asked.get(kind)
        try:
            Choice.parse(option if isinstance(option, str) and len(option) < 200 else "")
        except (ValueError, ArithmeticError):
            raise Refused(400, "There is no such way. Look for other ways again.") from None
        return {kind: option, "number": changes[-1] + 1 if changes else 1}
    if kind == "undo":
        if not changes:
            raise Refused(409, "There is no change left to undo.")
        return {"number": changes[-1]}
    bars = asked.get("bars", "")
    if not isinstance(bars, str) or (bars and not _BARS.fullmatch(bars)):
        raise Refused(400, "Write printed bars as 12 or 9-12, or leave the field empty.")
    return {"bars": bars}


async def _body(request: Request, most: int, turn: asyncio.Semaphore | None = None) -> bytes:
    """Read the body of a request, which may neither be too large nor take too long."""
    said = request.headers.get("content-length", "0")
    if not said.isdigit() or int(said) > most:
        raise Refused(413, f"This is larger than {most // 2**20} MB, and no score is. Give the "
                           f"score itself, without recordings or pictures.")
    got = bytearray()
    try:
        async with asyncio.timeout(UPLOAD_SECONDS), turn or contextlib.nullcontext():
            async for chunk in request.stream():
                got += chunk
                if len(got) > most:
                    raise Refused(413, "This is too large. Give the score itself, without "
                                       "recordings or pictures.")
    except TimeoutError:
        raise Refused(408, "The score did not arrive in a minute. Lay it here again.") from None
    except ClientDisconnect:
        raise Refused(400, "The score did not arrive whole. Lay it here again.") from None
    return bytes(got)


async def _asked(request: Request) -> dict[str, Any]:
    """Read what is asked: a table in JSON, which no foreign form can send."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise Refused(415, "This is not something the page asks for. Load it again.")
    try:
        told = json.loads(await _body(request, LARGEST_ASKED))
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict):
        raise Refused(400, "This is not something the page asks for. Load it again.")
    return told


def _guarded(answer: Answer) -> Answer:
    """Turn what cannot be done into words: a page for a page, a table for a script."""
    async def answered(request: Request) -> Response:
        try:
            return await answer(request)
        except Refused as why:
            status, words = why.status, str(why)
        except Busy:
            status, words = 409, "This score is being worked on. Wait for the end, or stop it."
        except ChoiceError as error:
            status, words = 400, str(error)
        except ArrangerError as error:
            status, words = 422, str(error)
        except OSError:
            status, words = 500, "The folder of this program cannot be used; is the disk full?"
        if "text/html" in request.headers.get("accept", ""):
            return HTMLResponse(trouble(words), status)
        return JSONResponse({"why": words}, status)
    return answered


def make_app(store: Store, port: int) -> Starlette:
    """Return the server's application over a store."""
    own = Bench(store)

    async def nothing(_: Request, __: Exception) -> Response:
        return HTMLResponse(trouble("There is no such page. Begin at the first one."), 404)
    routes = [("/", own.home, "GET"), ("/shelf", own.shelf, "GET"),
              ("/works", own.add, "POST"), ("/demo", own.demo, "POST"),
              ("/works/{id}", own.bench, "GET"), ("/works/{id}", own.remove, "DELETE"),
              ("/works/{id}/desk", own.desk, "GET"), ("/works/{id}/state", own.state, "GET"),
              ("/works/{id}/job", own.ask, "POST"), ("/works/{id}/stop", own.cancel, "POST"),
              ("/works/{id}/files/{name}", own.made, "GET"),
              ("/works/{id}/files/{kind}/{name}", own.made, "GET"),
              ("/look/{name}", own.asset, "GET")]
    return Starlette(
        routes=[Route(path, _guarded(answer), methods=[method])
                for path, answer, method in routes],
        middleware=[Middleware(Guard, port=port)], lifespan=own.alive,
        exception_handlers={404: nothing})
