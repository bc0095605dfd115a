"""What a recording is good for, judged before anything is concluded from it."""

from spinlab.quality.aliasing import alias_of
from spinlab.quality.assess import assess
from spinlab.quality.value import Quality, Suspicion

__all__ = ["Quality", "Suspicion", "alias_of", "assess"]
