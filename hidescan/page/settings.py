"""Tunables of the page."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PageSettings:
    """Limits and sizes of the page."""

    # Phones' photos have 2 to 15 MB; a 50 megapixel PNG of a floor has some 90.
    most_upload_bytes: int = 100_000_000
    # A whole rim traced by hand has some 100 kB.
    most_edit_bytes: int = 2_000_000
    # A 12 MP photo is mapped in 0.5 GB. The address space holds libraries and thread stacks as well, about 1.2 GB of it
    # before the first photo; 80 megapixels, the limit, need 1.3 GB at their peak.
    worker_address_bytes: int = 4_000_000_000
    # Long side of the picture shown before one zooms in: enough for any phone, 2 % of the photo's time to make.
    screen_long_side_px: int = 2048
    # Long side of the picture from above: a card on the wall has 170 to 300 CSS px, a column of a comparison 600.
    above_long_side_px: int = 640
    # Side of a mark cut out of the photo.
    mark_side_px: int = 176
    # Quality at which 12 MP take 3 MB and no rim looks softer than in the photo.
    jpeg_quality: int = 88
    # Photos that stay decoded in the worker: the one worked on and the one before.
    warm_photos: int = 2
    # Outlines kept for each: an undone tap is shown at once.
    warm_outlines: int = 12
    # The longest that one request may take; a 12 MP photo takes 2 s on two cores.
    most_seconds: float = 120.0
    # Worker processes; the second is started when a second person asks for something while the first is busy.
    workers: int = 2
    # A request's header; the next part of a body and all of it (100 MB at 200 kB/s); the next part of an answer.
    header_s: float = 10.0
    body_part_s: float = 20.0
    body_s: float = 600.0
    answer_part_s: float = 60.0
    # Connections at once. A browser opens six; so many strangers must come before a person's connection, just accepted
    # and not yet read, could be the oldest of too many. Fewer where the system allows a program fewer open files.
    most_connections: int = 600
    most_connections_of_an_address: int = 400
    # Wrong codes from one address before the door stays shut, and for how long.
    wrong_codes: int = 5
    locked_s: float = 60.0
    # Tried first, then the next nine, so that the address stays the same from day to day; any free one otherwise.
    port: int = 8743
    # Drawings of pieces have 10 to 500 kB; base64 makes four bytes of three.
    most_drawing_bytes: int = 8_000_000
    # Pieces on one hide: 20 pairs of shoes have some 300. Each is drawn at every move of a hand.
    most_pieces: int = 400
    # Points of an outline leave it by no more on the screen.
    piece_flat_mm: float = 0.1
    # How long the program looks for better places for the pieces that nobody put: the first are found in 2 s.
    place_seconds: float = 6.0
    # Photos of one hide, joined: six show a cowhide from all sides.
    most_photos: int = 8
