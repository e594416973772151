"""What can go wrong, each with one sentence that names the file, the layer and the place."""

from __future__ import annotations


class SheetstackError(Exception):
    """Base of every error that a user can mend; its text is one clear sentence."""


class JobError(SheetstackError):
    """The job file is unusable; the sentence names file, key, value and what was expected."""


class ArtworkError(SheetstackError):
    """An artwork file cannot be read; the sentence names file, layer or element, and why."""


class GeometryError(SheetstackError):
    """A shape cannot be built; the sentence names the layer and the place."""


class WriteError(SheetstackError):
    """A result cannot be written; the sentence names the file. Nothing half-written is left."""


class Cancelled(SheetstackError):
    """The user stopped the work; nothing has been written."""
