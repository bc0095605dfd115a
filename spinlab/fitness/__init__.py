"""What a take is fit for, and how the next one would be better."""

from spinlab.fitness.advice import better_take
from spinlab.fitness.purposes import fitness
from spinlab.fitness.value import Advice, Fit, Fitness

__all__ = ["Advice", "Fit", "Fitness", "better_take", "fitness"]
