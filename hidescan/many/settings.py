"""Tunables of mapping many photos."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FolderSettings:
    """Mapping many photos."""

    # Photos handed out for each worker: one at work and one waiting, so that none is idle and memory stays bounded.
    handed_out_per_worker: int = 2
    # Long side of a picture on the contact sheet: a hide and its outline can be told, 400 fit a screen by scrolling.
    thumbnail_px: int = 240
    # Pictures in a row of the contact sheet, at most.
    most_columns: int = 20
    # A file is taken as fully written when its size and time have not changed for this long.
    settled_s: float = 1.0
    # How often files that are not settled are looked at.
    look_s: float = 0.25
    # How long a scheduler may take to answer: on a workshop's network milliseconds.
    connect_s: float = 10.0
