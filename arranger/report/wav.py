"""The draft as a sound file, where a synthesiser and a General MIDI sound font are installed."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory

from arranger.model.errors import ChoiceError

#: Where systems keep sound fonts (Debian, Fedora, Arch, Homebrew).
FOLDERS = ("/usr/share/sounds/sf2", "/usr/share/sounds/sf3", "/usr/share/soundfonts",
           "/usr/local/share/soundfonts", "/opt/homebrew/share/soundfonts")
#: Preferred when several are there; the rest by name.
_GOOD = ("FluidR3_GM.sf2", "default-GM.sf2", "TimGM6mb.sf2", "default.sf2")
_SECONDS = 300  # at most for one file


def sound_font(folders: tuple[str, ...] = FOLDERS) -> Path | None:
    """Return a General MIDI sound font: ``$SOUNDFONT`` or one of the usual folders' files."""
    named = os.environ.get("SOUNDFONT", "")
    if named and Path(named).is_file():
        return Path(named)
    found = sorted(path for folder in folders for suffix in ("*.sf2", "*.sf3")
                   for path in Path(folder).glob(suffix))
    good = [path for name in _GOOD for path in found if path.name == name]
    return next(iter(good or found), None)


def synthesiser() -> tuple[str, Path]:
    """Return the program and the sound font.

    Raises
    ------
    ChoiceError
        One of them is not installed; says what to install.
    """
    program, font = shutil.which("fluidsynth"), sound_font()
    if program and font:
        return program, font
    lacking = " and ".join(
        what for what, there in (("the program fluidsynth", program),
                                 ("a General MIDI sound font (.sf2)", font)) if not there)
    raise ChoiceError(f"--wav needs {lacking}: install fluidsynth and fluid-soundfont-gm, or name "
                      "a sound font in the environment variable SOUNDFONT; draft.mid needs neither")


def wav_bytes(midi: bytes, program: str, font: Path) -> bytes:
    """Play a Standard MIDI File into a WAV file of 44100 samples a second, two channels.

    Raises
    ------
    ChoiceError
        The synthesiser failed; its last line is told.
    """
    with TemporaryDirectory() as folder:
        score, sound = Path(folder) / "draft.mid", Path(folder) / "draft.wav"
        score.write_bytes(midi)
        try:
            done = subprocess.run(
                [program, "-ni", "-r", "44100", "-F", str(sound), str(font), str(score)],
                capture_output=True, text=True, timeout=_SECONDS, check=False)
        except subprocess.TimeoutExpired as error:
            raise ChoiceError(f"--wav: {program} took more than {_SECONDS} s; "
                              "leave --wav out") from error
        if done.returncode or not sound.exists():
            said = (done.stderr or done.stdout).strip().splitlines()
            raise ChoiceError(f"--wav: {program} failed"
                              f"{': ' + said[-1][:200] if said else ''}; leave --wav out")
        return sound.read_bytes()
