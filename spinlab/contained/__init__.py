"""Work on outside files in a child process with limits on time, processor and memory.

Whatever a file does to a decoder, the caller gets an answer or one sentence: a crash, an endless
loop or a hunger for memory end the child alone.  The child knows none of the caller's environment
beyond what programs need to start, ends with its parent even where that is killed, and answers in
plain JSON values only, so that a child taken over by a hostile file cannot hand its parent code.

    with Contained(Limits(wall_s=60, memory_bytes=2 << 30)) as child:
        answer = child.call(function, "spin.m4a")

`run_contained` does the same once.
"""

from spinlab.contained.limits import Limits
from spinlab.contained.process import Contained, run_contained

__all__ = ["Contained", "Limits", "run_contained"]
