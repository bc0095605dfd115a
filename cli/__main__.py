"""`python -m spinlab_cli` is the same as `spinlab`."""

import sys

from .run import main

if __name__ == "__main__":
    sys.exit(main())
