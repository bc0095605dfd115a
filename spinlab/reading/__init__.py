"""From a file on disk to a frozen `Recording`: what a phone really makes, read honestly.

Content decides, never the name: sound by soundfile, sound and the sound track of videos by PyAV,
acceleration logs from text.  Times follow the file's own clock; whatever was repaired on the way
stands in the recording's remarks.
"""

from spinlab.reading.decoded import MINIMUM_DURATION_S
from spinlab.reading.file import AccelerationUnit, Progress, read

__all__ = ["MINIMUM_DURATION_S", "AccelerationUnit", "Progress", "read"]
