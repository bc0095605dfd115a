"""How to record so that much can be told: one page, as text and as a sheet to hang up."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from spinlab.fitness import Advice, Fit
from spinlab.phrase import say
from spinlab.report.language import ENGLISH, speaking, tell
from spinlab.report.shell import rendered, style_of
from spinlab.report.typeset import wrapped
from spinlab.report.words import SHORT_CAUTION


@dataclass(frozen=True, kw_only=True)
class Chapter:
    """A heading and its steps, each with the reason why."""

    title: str
    steps: tuple[tuple[str, str], ...]


CHAPTERS: tuple[Chapter, ...] = (
    Chapter(
        title=say("The machine"),
        steps=(
            (
                say("Drum empty, water drained, door shut and locked, feet level."),
                say("A load or water shakes the drum and hides what the machine itself does."),
            ),
            (
                say("Pump, taps, radio and other machines off; keep silent."),
                say("What hums or speaks beside the drum covers its lines."),
            ),
            (
                say("Start the built-in service spin test as the maker's instructions say."),
                say("It holds each speed long enough to be measured."),
            ),
        ),
    ),
    Chapter(
        title=say("The phone, for sound"),
        steps=(
            (
                say(
                    "On a folded cloth on the floor at the rear of the machine, within half a "
                    "metre, microphone (bottom edge) towards it. Not in the hand, not on the lid."
                ),
                say("A hand rustles; a lid rattles against the phone."),
            ),
            (
                say(
                    "Sound memo or the camera's video, highest quality, 44.1 or 48 kHz. No call, "
                    "no voice message, no messenger's own recorder."
                ),
                say("Those keep nothing above 4 kHz, and bearings ring above it."),
            ),
            (
                say("Noise suppression, voice enhancement and automatic gain off, if offered."),
                say("They take steady noise for a disturbance, and it is the evidence."),
            ),
        ),
    ),
    Chapter(
        title=say("The phone, for shaking (a sensor log)"),
        steps=(
            (
                say("Taped flat to the lid or the side panel, screen up, so that it cannot slip."),
                say("Only then does it move with the machine."),
            ),
            (
                say(
                    "Sensor app: acceleration with gravity, all three axes, with time stamps, at "
                    "the fastest rate, 100 samples a second or more. Export as CSV."
                ),
                say("A drum at 1400 rpm turns 23 times a second; a slow log shows another speed."),
            ),
        ),
    ),
    Chapter(
        title=say("While it runs"),
        steps=(
            (
                say(
                    "Start recording ten seconds before the drum starts; stop when it stands. "
                    "Two to five minutes in one file, calls on hold, screen on."
                ),
                say("The rest before and the run-out after are part of the evidence."),
            ),
            (
                say("Hands away, nobody leans on the machine, do not open the door."),
                say("A drum at speed tears off what it catches."),
            ),
            (
                say("Send the file itself, not a copy through a messenger."),
                say("Messengers shrink sound until the bearings are gone."),
            ),
        ),
    ),
    Chapter(
        title=say("Which recording tells what"),
        steps=(
            (say("Sound:"), say("speed and stages, bearings, belt, motor.")),
            (say("Sensor log:"), say("speed and stages, imbalance, suspension, loose parts.")),
            (
                say("Both, in two tests of one visit:"),
                say("the whole picture; a machine profile with bearings and belt adds to both."),
            ),
        ),
    ),
)


def guide_text(*, language: str = ENGLISH) -> str:
    """The guide for a terminal, 80 columns."""
    with speaking(language):
        lines = [tell("HOW TO RECORD A SPIN TEST"), ""]
        for chapter in CHAPTERS:
            lines += [tell(chapter.title).upper(), *_steps(chapter), ""]
        lines += wrapped(tell(SHORT_CAUTION), first=f"{tell('Caution')}: ", rest="  ")
    return "\n".join(lines) + "\n"


def _steps(chapter: Chapter) -> Iterator[str]:
    for do, because in chapter.steps:
        yield from wrapped(f"{tell(do)} {tell(because)}", first="* ", rest="  ")


def guide_page(*, language: str = ENGLISH) -> str:
    """The guide as one self-contained sheet of A4."""
    style = style_of("page.css")
    with speaking(language):
        return rendered("guide.html", style, chapters=CHAPTERS)


def fitness_text(
    file: str,
    fits: tuple[Fit, ...],
    advice: tuple[Advice, ...],
    *,
    remarks: tuple[str, ...] = (),
    language: str = ENGLISH,
) -> str:
    """What a take is fit for, and how the next one would be better, for a terminal.

    Args:
        file: its name.
        fits, advice: from `spinlab.fitness`.
        remarks: what the reader and the judge of quality noticed, in sentences.
        language: code of a language that ships.
    """
    with speaking(language):
        lines = [tell("WHAT {file} IS FIT FOR", file=file)]
        width = max(len(tell(fit.purpose)) for fit in fits)
        state = max(len(tell(fit.fitness)) for fit in fits)
        for fit in fits:
            first = f"  {tell(fit.purpose):<{width}}  {tell(fit.fitness):<{state}}  "
            lines += wrapped(tell(fit.reason), first=first, rest=" " * len(first))
        if remarks:
            lines += ["", tell("ABOUT THE RECORDING")]
            for remark in remarks:
                lines += wrapped(tell(remark), first="* ", rest="  ")
        lines += ["", tell("FOR A BETTER TAKE")]
        for one in advice:
            lines += wrapped(f"{tell(one.do)}: {tell(one.because)}.", first="* ", rest="  ")
        if not advice:
            lines += wrapped(tell("Nothing to improve was found."), first="* ", rest="  ")
    return "\n".join(lines) + "\n"
