"""Pairs of clips at the same speed, for ears that learn: which is which, and what proves it."""

from spinlab.lesson.make import SLOW_PACE, hear_both, make_lesson
from spinlab.lesson.value import Lesson, Question

__all__ = ["SLOW_PACE", "Lesson", "Question", "hear_both", "make_lesson"]
