"""The command line: arguments in, one call, exit status out. Heavy imports inside commands."""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from arranger.api import Request, Result
    from arranger.rulebook.own_player import Question

VERSION = "0.1.0"
_EXISTING = click.Path(path_type=Path)


class _Group(click.Group):
    """Turn errors meant for the user into one line and an exit status."""

    def main(self, *args: Any, **kwargs: Any) -> Any:
        from arranger.model.errors import ArrangerError
        gc.set_threshold(200_000, 20, 20)  # many small values, few rings: collect seldom
        kwargs["standalone_mode"] = False
        try:
            status = super().main(*args, **kwargs)
        except ArrangerError as error:
            click.echo(f"arranger: {error}", err=True)
            sys.exit(error.exit_status)
        except click.ClickException as error:
            click.echo(f"arranger: {error.format_message()}", err=True)
            sys.exit(2)
        except (click.Abort, KeyboardInterrupt):
            click.echo("arranger: interrupted", err=True)
            sys.exit(130)
        sys.exit(status if isinstance(status, int) else 0)

    def invoke(self, context: click.Context) -> Any:
        """Run a command; click would start a line of its own before it tells an interruption."""
        try:
            return super().invoke(context)
        except KeyboardInterrupt:
            raise click.Abort from None


@click.group(cls=_Group, invoke_without_command=True)
@click.version_option(VERSION, prog_name="arranger")
@click.pass_context
def main(context: click.Context) -> None:
    """Arrange music for the harp, and mark the pedals of harp parts."""
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


#: What a command is told of part, harp and player.
_SETTINGS = (
    click.option("--part", "parts", multiple=True, metavar="NAME",
                 help="Part to arrange, by name or id; may be repeated; all: every one not kept."),
    click.option("--harp", default="pedal-47", show_default=True, metavar="NAME|FILE",
                 help="A harp of rules/harps (lever-34, lever-34-f ...), or a file like those."),
    click.option("--player", default="average", show_default=True, metavar="NAME|FILE",
                 help="A player of rules/players, or a file like those."),
    click.option("--limit", "limits", multiple=True, metavar="NAME=VALUE",
                 help="One limit of the player, such as span_steps=8; may be repeated."),
    click.option("--tempo", type=float, metavar="BPM",
                 help="Opening tempo in crotchets a minute; later tempi keep their ratio."))
_OUT = click.option("-o", "--out", "folder", type=_EXISTING,
                    help="Folder to write to; default out/<name of SOURCE>.")
_FORM = click.option("--format", "form", type=click.Choice(["text", "json"]), default="text",
                     show_default=True, help="What to print when done.")
_TRANSPOSE = click.option(
    "--transpose", default="", metavar="N|best",
    help="Semitones to transpose the whole score by; best: the key within a fourth that suits the "
         "harp.")


def _choosing(command: Callable[..., Any]) -> Callable[..., Any]:
    """What is chosen beforehand."""
    return _with(command, (
        click.option("--take", multiple=True, metavar="ID",
                     help="Take an option that arranger options lists; may be repeated."),
        click.option("--choices", type=_EXISTING, metavar="FILE",
                     help="Choices kept in a file; default NAME.choices.toml beside SOURCE."),
        click.option("--part-is-harp", is_flag=True,
                     help="SOURCE is a harp part: nothing in it changes but what is chosen."),
        click.option("--chords", is_flag=True, help="The left hand plays the chord symbols.")))


def _shared(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options that several commands take alike."""
    return _with(command, (
        click.argument("source", type=_EXISTING), _OUT, *_SETTINGS, _FORM,
        click.option("--pedals", type=click.Choice(["all", "changes", "diagrams", "none"]),
                     default="all", show_default=True, help="Pedal marks to print."),
        click.option("--page/--no-page", default=True, help="Write report.html too.")))


def _severity(command: Callable[..., Any]) -> Callable[..., Any]:
    """How severe a check is."""
    return _with(command, (
        click.option("--rules", "rules_file", type=_EXISTING, metavar="FILE",
                     help="TOML file with a table [rules] of lines such as P3 = \"off\"."),
        click.option("--rule", "rules", multiple=True, metavar="CODE=LEVEL",
                     help="Set one rule to off, advice, warning or error; may be repeated.")))


def _with(command: Callable[..., Any],
          options: Sequence[Callable[..., Any]]) -> Callable[..., Any]:
    for option in reversed(options):
        command = option(command)
    return command


@main.command()
@_shared
@_choosing
@_TRANSPOSE
@click.option("--range", "sung_range", default="", metavar="LOW-HIGH",
              help="With --transpose: range of the kept parts that are sung, such as C4-F5.")
@click.option("--keep", multiple=True, metavar="NAME",
              help="Part another player keeps: stays above the harp; may be repeated.")
@click.option("--tune", multiple=True, metavar="NAME", help="Part that holds the tune.")
@click.option("--ease", type=click.IntRange(1, 5), metavar="1-5",
              callback=lambda _context, _option, level: level or 0,
              help="Thin the draft for less practice: 1, the easiest, to 5.")
@click.option("--fingering", type=click.Choice(["all", "hints", "none"]), default="all",
              show_default=True, help="Fingers to print; hints: where a hand is placed anew.")
@click.option("--damping", type=click.Choice(["all", "none"]), default="all",
              show_default=True, help="Signs for strings to be damped.")
@click.option("--pdf", is_flag=True, help="Print the part for the stand too: part.pdf.")
@click.option("--wav", is_flag=True,
              help="Play the draft into draft.wav; needs fluidsynth and a sound font.")
@click.option("--bundle", is_flag=True,
              help="Add bundle.zip, to report a wrong answer with: source, draft, report.")
@click.option("--verify", is_flag=True, help="Arrange the written draft again; nothing may change.")
@click.option("--prove", is_flag=True, help="Take longer to prove how near to the best it is.")
def convert(source: Path, folder: Path | None, form: str, **settings: Any) -> int:
    """Make a harp draft of SOURCE with a report of every alteration."""
    from arranger.api import convert as run
    request = _request(source, **settings)
    return _done(run(request, _folder(source, folder), _progress()), form, _folder(source, folder))


@main.command()
@click.argument("source", type=_EXISTING)
@_OUT
@click.option("--seat", "seats", multiple=True, metavar="HARP[:PLAYER][=LINE,...]",
              help="A harp with its player, and lines that are theirs; once for each seat.")
@click.option("--harps", type=click.IntRange(0, 8), default=0, help="So many pedal harps besides.")
@lambda command: _with(command, (_SETTINGS[0], _SETTINGS[-1], _TRANSPOSE))
@click.option("--page/--no-page", default=False, help="Write the page of every part too.")
@click.option("--pdf", is_flag=True, help="Print every part for the stand too.")
@_FORM
def ensemble(source: Path, folder: Path | None, form: str, harps: int, **settings: Any) -> int:
    """Make a set of parts of SOURCE for several harps, one for each seat."""
    from arranger.api import ensemble as run
    from arranger.report.ensemble_text import ensemble_text
    out = _folder(source, folder)
    settings["seats"] += ("pedal-47",) * harps
    return _done(run(_request(source, **settings), out, _progress()), form, out, ensemble_text)


@main.command()
@_shared
def pedals(source: Path, folder: Path | None, form: str, **settings: Any) -> int:
    """Mark the pedals into the harp part SOURCE; no note is changed."""
    from arranger.api import pedals as run
    request = _request(source, **settings)
    return _done(run(request, _folder(source, folder), _progress()), form, _folder(source, folder))


@main.command()
@_shared
@_severity
@click.option("--verify", is_flag=True,
              help="Read the marked part again in a way of its own and play its pedals.")
def check(source: Path, folder: Path | None, form: str, **settings: Any) -> int:
    """Examine the harp part SOURCE: what cannot be played, why, and what would work."""
    from arranger.api import check as run
    from arranger.report.check_text import check_text
    out = _folder(source, folder)
    return _done(run(_request(source, **settings), out, _progress()), form, out, check_text)


@main.command()
@click.argument("source", metavar="OLD", type=_EXISTING)
@click.argument("newer", metavar="NEW", type=_EXISTING)
@lambda command: _with(command, _SETTINGS)
@_severity
@click.option("-o", "--out", "folder", type=_EXISTING,
              help="Folder to write report.json to; default out/<name of NEW>.")
@_FORM
def compare(source: Path, newer: Path, folder: Path | None, form: str, **settings: Any) -> int:
    """Tell what changed from the harp part OLD to its edition NEW, and what it did to the risk."""
    from arranger.api import compare as run
    from arranger.report.compare_text import compare_text
    request, out = _request(source, **settings), _folder(newer, folder)
    return _done(run(request, newer, out, _progress()), form, out, compare_text)


@main.command()
@click.argument("source", metavar="FOLDER", type=_EXISTING)
@lambda command: _with(command, (_OUT, *_SETTINGS, _TRANSPOSE))
@click.option("--jobs", type=click.IntRange(1, 256), metavar="N",
              help="Processes side by side; default: one a processor.")
@click.option("--cluster", default="", metavar="ADDRESS",
              help="Send the scores to a Dask cluster, such as tcp://host:8786.")
def survey(source: Path, folder: Path | None, jobs: int | None, cluster: str,
           **settings: Any) -> int:
    """Tell how well each score in FOLDER suits the harp, in a table to sort."""
    from arranger.api import survey as run
    out = _folder(source.resolve(), folder)
    found = run(_request(source, **settings), out, jobs or 0, cluster, _countdown())
    click.echo(f"{found.read} of {len(found.rows)} scores measured. "
               f"Written to {out}: {', '.join(found.files)}")
    return 0 if found.read else 3


@main.command()
@_shared
@_choosing
@_TRANSPOSE
@click.option("--bars", default="", metavar="A-B", help="Look at these printed bars only.")
@click.option("--what-if", default="", metavar="ID", help="Price one change at one place only.")
def options(source: Path, folder: Path | None, form: str, **settings: Any) -> int:
    """List the risky spots of SOURCE, what else would do there and what it costs."""
    from arranger.api import options as run
    from arranger.report.options_report import options_text
    out = _folder(source, folder)
    kept = " --part-is-harp" if settings["part_is_harp"] else ""
    return _done(run(_request(source, **settings), out, _progress()), form, out,
                 lambda report: options_text(report, f"arranger convert {source}{kept}"))


@main.command()
@click.argument("source", required=False, type=_EXISTING)
@click.option("--port", type=click.IntRange(0, 65535), default=8407, show_default=True, metavar="N",
              help="Port of the address on this machine; 0: any that is free.")
@click.option("--folder", type=_EXISTING, metavar="FOLDER",
              help="Where scores and choices are kept; default: the folder for data of the user.")
def serve(source: Path | None, port: int, folder: Path | None) -> int:
    """Open the workbench: a page on this machine to arrange, see, hear and choose on."""
    from arranger.web.serve import serve as run
    from arranger.web.store import default_folder

    def say(line: str) -> None:
        click.echo(line)
    run(source, port, folder or default_folder(), say)
    return 0


@main.command()
@click.argument("code", required=False)
def rule(code: str | None) -> int:
    """Explain the rule CODE with its numbers and sources; all rules without CODE."""
    from arranger.rulebook.catalogue import catalogue
    click.echo(catalogue(code))
    return 0


@main.command()
@click.argument("source", type=_EXISTING)
@click.option("--part", "parts", multiple=True, metavar="NAME", help="Part to be arranged.")
@click.option("--harp", default="lever-34", show_default=True, metavar="NAME|FILE",
              help="A harp of rules/harps, or a file like those.")
@click.option("--player", default="average", show_default=True, metavar="NAME|FILE",
              help="A player of rules/players, or a file like those.")
@click.option("--tempo", type=float, metavar="BPM", help="Opening tempo in crotchets a minute.")
def keys(source: Path, **settings: Any) -> int:
    """List what SOURCE costs in every key within a fourth: moves, notes lost, best first."""
    from arranger.api import keys_of
    for line in keys_of(_request(source, **settings)):
        click.echo(line)
    return 0


@main.group()
def player() -> None:
    """Write a file with the limits of your own hands and feet."""


@player.command()
@click.argument("file", type=_EXISTING)
@click.option("--base", default="average", show_default=True, metavar="NAME",
              help="Player of rules/players from whom comes what is not asked.")
def new(file: Path, base: str) -> int:
    """Ask five questions and write the player FILE (NAME.toml)."""
    from arranger.model.errors import ChoiceError
    from arranger.rulebook.own_player import QUESTIONS, own_player
    from arranger.rulebook.players import load_player
    if file.suffix != ".toml" or file.exists():
        raise click.BadParameter("give a new file whose name ends in .toml", param_hint="FILE")
    if base.endswith(".toml"):
        raise click.BadParameter("name a player of rules/players", param_hint="--base")
    like = load_player(base)
    click.echo("These are limits of what a part may ask of you, not training goals. Answer with\n"
               "what you do with comfort today, and stop at pain; a teacher or a doctor decides\n"
               "what is healthy.")

    def ask(question: Question) -> str:
        def read(answer: str) -> str:
            try:
                question.limits(answer)
            except ChoiceError as error:
                raise click.UsageError(str(error)) from error
            return answer
        answer: str = click.prompt(question.text, default=question.default(like), value_proc=read)
        return answer
    text = own_player(file.stem, like, [ask(q) for q in QUESTIONS])
    try:
        with file.open("x", encoding="utf-8") as out:
            out.write(text)
    except OSError as error:
        raise click.BadParameter(f"cannot be written: {error.strerror}",
                                 param_hint="FILE") from error
    click.echo(f"Written to {file}; use it with --player {file}")
    return 0


@main.command()
@click.argument("notes", nargs=-1, required=True)
@click.option("--from", "start", default="", metavar="SETTING",
              help='Setting to start from, such as "D C Bb | Eb F G Ab".')
@click.option("--glissando", is_flag=True, help="All seven strings must sound only these notes.")
def settings(notes: tuple[str, ...], start: str, glissando: bool) -> int:
    """List the pedal settings for NOTES (C E G Bb ...), nearest first."""
    from arranger.api import settings_for
    from arranger.commands.tuning import nearest
    for line in nearest(settings_for(notes, start, glissando)):
        click.echo(line)
    return 0


def _request(source: Path, tempo: float | None, **settings: Any) -> Request:
    from arranger.api import Request
    if tempo is not None and not 10 <= tempo <= 400:
        raise click.BadParameter("give a tempo from 10 to 400 crotchets a minute",
                                 param_hint="--tempo")
    if tempo is not None and settings.get("verify"):
        raise click.UsageError("--verify and --tempo cannot go together: the draft keeps its tempo")
    bpm = None if tempo is None else Fraction(tempo).limit_denominator(1000)
    return Request(source, tempo=bpm, **settings)


def _folder(source: Path, folder: Path | None) -> Path:
    if folder == Path():
        raise click.BadParameter("name a folder to write to", param_hint="-o")
    return folder if folder is not None else Path("out") / source.stem


def _done(result: Result, form: str, folder: Path,
          words: Callable[[Mapping[str, Any]], str] | None = None) -> int:
    """Print what came of it; ``words`` of its report, if not those of a draft."""
    if form == "json":
        click.echo(result.files["report.json"].decode(), nl=False)
    else:
        from arranger.report.text import text
        click.echo((words or text)(result.report).removesuffix("\n"))
        for problem in result.report.get("not_engraved", ()):
            click.echo(problem)
        click.echo(f"Written to {folder}: {', '.join(result.files)}")
    return 1 if result.incomplete else 0


def _countdown() -> Callable[[int, int, float | None, str], None]:
    """Show how far a survey is: on a terminal always, else a line a minute."""
    live, shown = sys.stderr.isatty(), time.monotonic()

    def show(done: int, count: int, left: float | None, name: str) -> None:
        nonlocal shown
        told = f"{done} of {count}, about {_minutes(left or 0)} left: {name}"
        if live:
            click.echo(f"\r\x1b[2K{told[:100]}", err=True, nl=done == count)
        elif time.monotonic() - shown > 60:
            shown = time.monotonic()
            click.echo(told, err=True)
    return show


def _minutes(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"


def _progress() -> Callable[[str], None]:
    """Show each stage on a terminal once the work has taken a second."""
    from arranger.search.compiled import kept
    begun, live = time.monotonic(), sys.stderr.isatty()
    if live and not kept():
        click.echo("compiling the search, which only the first run does ...", err=True)

    def show(stage: str) -> None:
        if live and time.monotonic() - begun > 1.0:
            click.echo(f"{stage} ...", err=True)
    return show
