"""What a finding names, made audible: a short piece of the sound, filtered, louder, slower."""

from spinlab.clips.choose import clips
from spinlab.clips.make import Heard, heard
from spinlab.clips.value import Clip

__all__ = ["Clip", "Heard", "clips", "heard"]
