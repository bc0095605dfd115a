"""Pairs of clips at the same speed, for ears that learn: which is which, and what proves it."""

from spinlab.lesson.make import make_lesson
from spinlab.lesson.value import Lesson, Question

__all__ = ["Lesson", "Question", "make_lesson"]
