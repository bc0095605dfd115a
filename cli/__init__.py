"""The command line: words in, words out, and no signal processing.

Installed as `spinlab_cli`; the command is `spinlab`, and `python -m spinlab_cli` does the same.
"""

from .run import main

__all__ = ["main"]
