"""Which clips a finished analysis offers: what each finding names, and the lines of the picture."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from spinlab.clips.value import Clip
from spinlab.finding import Finding
from spinlab.phrase import say
from spinlab.result import Analysed
from spinlab.speed.track import SpeedTrack

# Longest pieces of the recording; a quarter of the pace makes four times of it.
_LONGEST_S, _LONGEST_SLOW_S = 8.0, 4.0
_SHORTEST_S = 0.5
# More knocks a second than this blur into a tone: then the clip is slowed.
_COUNTABLE_PER_S = 12.0
# Lines below this are felt rather than heard from a phone's loudspeaker.
_LOWEST_HEARD_HZ = 90.0
# Above this a change of pitch is hard to follow by ear.
_HIGHEST_HEARD_HZ = 4000.0
_MOST_LINES = 3
_TONE_HALF_WIDTH_HZ = 4.0
_AROUND_RETRY_S = 4.0

_Maker = Callable[[Finding, Analysed], Clip | None]


def clips(analysis: Analysed) -> tuple[Clip, ...]:
    """Everything worth hearing apart; nothing for an acceleration log.

    Clips of findings come first, in their order; then the strongest lines that turn with the drum.
    """
    if analysis.recording.kind != "sound":
        return ()
    return (*_of_findings(analysis), *_of_lines(analysis))


def _of_findings(analysis: Analysed) -> Iterator[Clip]:
    from dataclasses import replace

    for index, finding in enumerate(analysis.findings):
        maker = _MAKERS.get(finding.kind)
        if maker is None or finding.state == "not measurable":
            continue
        made = maker(finding, analysis)
        if made is not None and made.end_s - made.start_s >= _SHORTEST_S:
            yield replace(made, finding=index, name=_slug(f"{index + 1}-{finding.subject}"))


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:48]


def _bearing(finding: Finding, _analysis: Analysed) -> Clip | None:
    seen = finding.evidence
    rows = [row for row in seen.get("stages", ()) if row["speed_rpm"]]
    if not rows or seen.get("band_hz") is None or finding.state == "clear":
        return None
    best = max(rows, key=lambda row: (row["motion"] == "plateau", row["snr_db"]))
    rate = float(seen["order"]) * best["speed_rpm"] / 60.0
    pace = 1.0 if rate <= _COUNTABLE_PER_S else 0.25
    start_s, end_s = _middle(best["start_s"], best["end_s"], pace)
    return Clip(
        name="bearing",
        words=say(
            "Only {low:.0f} to {high:.0f} Hz, {pace}: listen for a rattle of {heard:.0f} knocks a "
            "second, {order:.2f} for each turn of the drum.",
            low=float(seen["band_hz"][0]),
            high=float(seen["band_hz"][1]),
            pace=_pace_words(pace),
            heard=rate * pace,
            order=float(seen["order"]),
        ),
        start_s=start_s,
        end_s=end_s,
        band_hz=(float(seen["band_hz"][0]), float(seen["band_hz"][1])),
        pace=pace,
    )


def _stage(finding: Finding, analysis: Analysed) -> Clip | None:
    seen = finding.evidence
    line = _loudest_line(analysis)
    if line is None or seen.get("start_s") is None or seen.get("end_s") is None:
        return None
    start_s = max(analysis.recording.start_s, float(seen["start_s"]) - 4.0)
    return Clip(
        name="stage",
        words=say(
            "Only the line at {order:.3g} times the drum's rate: its pitch rises with the drum "
            "and then stays where the speed stays.",
            order=line,
        ),
        start_s=start_s,
        end_s=min(float(seen["end_s"]), start_s + _LONGEST_S),
        order=line,
    )


def _oscillation(finding: Finding, analysis: Analysed) -> Clip | None:
    seen = finding.evidence
    if seen.get("times_s"):
        at = float(seen["times_s"][0])
        return Clip(
            name="retry",
            words=say("The ramp as recorded: it rises, is given up in the middle, and falls."),
            start_s=max(analysis.recording.start_s, at - _AROUND_RETRY_S),
            end_s=min(analysis.recording.end_s, at + _AROUND_RETRY_S),
        )
    if finding.state == "clear" or seen.get("plateau_rpm") is None:
        return None
    stretch = _plateau(analysis.track, float(seen["plateau_rpm"]))
    if stretch is None:
        return None
    return Clip(
        name="beat",
        words=say(
            "The plateau as recorded: count the slow swell, one every {period:.1f} s.",
            period=1.0 / float(seen["rate_hz"]),
        ),
        start_s=stretch[0],
        end_s=min(stretch[1], stretch[0] + 2 * _LONGEST_S),
    )


def _imbalance(finding: Finding, analysis: Analysed) -> Clip | None:
    seen = finding.evidence
    rows, band = seen.get("modulation_by_speed"), seen.get("modulation_band_hz")
    if not rows or band is None or finding.state == "clear":
        return None
    stretch = _plateau(analysis.track, max(float(row["speed_rpm"]) for row in rows))
    words = say("Only the band that swells, at a quarter of the pace: one swell for each turn.")
    return _slowed_band("knock", words, stretch, band)


def _motor(finding: Finding, analysis: Analysed) -> Clip | None:
    seen, ratio = finding.evidence, analysis.track.motor_ratio
    if seen.get("band_hz") and finding.state != "clear":
        return _arcing(seen["band_hz"], analysis)
    heard = [row for row in seen.get("motor_orders", ()) if row["p_value"] < 1e-3]
    stretch = _ramp(analysis.track)
    if not heard or ratio is None or stretch is None:
        return None
    strongest = max(heard, key=lambda row: row["level_db"])
    return Clip(
        name="motor",
        words=say(
            "Only order {order} of the motor while the drum speeds up: a tone that rises with it.",
            order=int(strongest["order"]),
        ),
        start_s=stretch[0],
        end_s=stretch[1],
        order=ratio.value * float(strongest["order"]),
    )


def _arcing(band: Any, analysis: Analysed) -> Clip | None:
    words = say(
        "Only the band that swells with the mains, at a quarter of the pace: crackle, not a smooth "
        "hiss."
    )
    return _slowed_band("arcing", words, _plateau(analysis.track, None), band)


def _slowed_band(
    name: str, words: str, stretch: tuple[float, float] | None, band: Any
) -> Clip | None:
    """The middle of a plateau in one band only, at a quarter of the pace."""
    if stretch is None:
        return None
    start_s, end_s = _middle(*stretch, 0.25)
    return Clip(
        name=name,
        words=words,
        start_s=start_s,
        end_s=end_s,
        band_hz=(float(band[0]), float(band[1])),
        pace=0.25,
    )


def _supply(finding: Finding, analysis: Analysed) -> Clip | None:
    heard = [t for t in finding.evidence.get("tones", ()) if t["frequency_hz"] > _LOWEST_HEARD_HZ]
    stretch = _ramp(analysis.track)
    if not heard or stretch is None:
        return None
    tone_hz = float(max(heard, key=lambda row: row["level_db"])["frequency_hz"])
    return Clip(
        name="tone",
        words=say(
            "Only {tone:.0f} Hz while the drum speeds up: the pitch stays, so it is not the drum.",
            tone=tone_hz,
        ),
        start_s=stretch[0],
        end_s=stretch[1],
        band_hz=(tone_hz - _TONE_HALF_WIDTH_HZ, tone_hz + _TONE_HALF_WIDTH_HZ),
    )


_MAKERS: dict[str, _Maker] = {
    "bearing": _bearing,
    "stage": _stage,
    "oscillation": _oscillation,
    "imbalance": _imbalance,
    "motor": _motor,
    "supply": _supply,
}


def _of_lines(analysis: Analysed) -> Iterator[Clip]:
    """The strongest lines of the picture, each alone, while the drum speeds up."""
    stretch = _ramp(analysis.track)
    if stretch is None or analysis.track.scale == "relative":
        return
    for line in _audible(analysis)[:_MOST_LINES]:
        yield Clip(
            name=_slug(f"line-{line:.3g}-x-drum"),
            words=say("{order:.3g} × drum alone, while the drum speeds up", order=line),
            start_s=stretch[0],
            end_s=stretch[1],
            order=line,
        )


def _audible(analysis: Analysed) -> list[float]:
    """Orders of the lines that a small loudspeaker can give at top speed, the loudest first."""
    track = analysis.track
    if not track.known.any():
        return []
    top_hz = float(np.nanmax(track.speed_rpm)) / 60.0
    highest_hz = min(_HIGHEST_HEARD_HZ, 0.45 * analysis.recording.rate_hz)
    lines = sorted(track.lines, key=lambda line: -line.level_db)
    return [
        line.order
        for line in lines
        if line.source != "modulation" and _LOWEST_HEARD_HZ < line.order * top_hz < highest_hz
    ]


def _loudest_line(analysis: Analysed) -> float | None:
    return next(iter(_audible(analysis)), None)


def _middle(start_s: float, end_s: float, pace: float) -> tuple[float, float]:
    longest = _LONGEST_S if pace == 1.0 else _LONGEST_SLOW_S
    centre, half = 0.5 * (start_s + end_s), 0.5 * min(longest, end_s - start_s)
    return centre - half, centre + half


def _plateau(track: SpeedTrack, speed_rpm: float | None) -> tuple[float, float] | None:
    """The longest plateau near a speed, or the fastest plateau."""
    held = _stretches((track.motion == "plateau") & track.known)
    if not held:
        return None
    means = [float(np.nanmean(track.speed_rpm[first:last])) for first, last in held]
    wanted = max(means) if speed_rpm is None else speed_rpm
    first, last = held[int(np.argmin([abs(mean - wanted) for mean in means]))]
    return float(track.time_s[first]), float(track.time_s[last - 1])


def _ramp(track: SpeedTrack) -> tuple[float, float] | None:
    """A piece of the run in which the speed changes most while it is known throughout."""
    if not track.known.any():
        return None
    frame_s = float(np.median(np.diff(track.time_s)))
    size = max(2, round(_LONGEST_S / frame_s))
    if len(track.time_s) <= size:
        return None
    speed = np.where(track.known, track.speed_rpm, np.nan)
    rise = speed[size:] - speed[:-size]
    known = np.convolve(track.known, np.ones(size + 1), "valid") / (size + 1)
    rise = np.where(known > 0.95, rise, np.nan)
    if not np.any(rise > 0):
        return None
    first = int(np.nanargmax(rise))
    return float(track.time_s[first]), float(track.time_s[first + size])


def _stretches(inside: Any) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _pace_words(pace: float) -> str:
    return say("as fast as recorded") if pace == 1.0 else say("slowed to a quarter")
