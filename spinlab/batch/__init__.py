"""Many recordings at once: a folder or list in; results, an index page and a table out.

Finished work is never done again: results are named by the hash of the recording and of the
conditions it is judged under.  A crash, Ctrl-C or a kill at any moment costs at most the files in
hand, and one bad file stops no other.

    from spinlab.batch import run_batch

    tally = run_batch("uploads", "checked", machine="belt-brushed-1400")
"""

from spinlab.batch.begin import run_batch
from spinlab.batch.value import DEFAULT_LIMITS, Redo, Status, Tally

__all__ = ["DEFAULT_LIMITS", "Redo", "Status", "Tally", "run_batch"]
