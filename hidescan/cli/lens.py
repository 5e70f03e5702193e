"""The command that makes a lens profile: `lens`."""

from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from hidescan.basics.errors import BadInput


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(lens)


def lens(
    photos: Annotated[list[Path], typer.Argument(help="Five or more photos of a card.", show_default=False)],
    out: Annotated[Path, typer.Option("-o", "--out", help="TOML file to write.")],
) -> None:
    """Make a lens profile, and keep it so that matching photos use it by themselves."""
    from hidescan.basics.atomic_files import write_whole
    from hidescan.basics.errors import NotFound
    from hidescan.basics.opencv import grey_of
    from hidescan.cards.detection import find_cards
    from hidescan.floor.lens_profile import make_profile
    from hidescan.floor.profile_files import keep_profile, to_toml
    from hidescan.photo.reading import read_photo
    from hidescan.settings import Settings

    settings = Settings()
    seen = []
    for path in _progress(photos, quiet=len(photos) == 1):
        photo = read_photo(path, settings.photo)
        if cards := find_cards(grey_of(photo.rgb), settings.card).cards:
            seen.append((photo, cards))
    profile = make_profile(seen, settings.plane, settings.lens)
    if isinstance(profile, NotFound):
        raise BadInput(f"lens: {profile}")
    write_whole(out, to_toml(profile))
    kept = keep_profile(profile)
    print(f"{out}: {profile.camera}, f {profile.focal_px:.1f} px, k1 {profile.k1:+.4f}, k2 {profile.k2:+.4f}")
    print(f"  from {profile.photos} photos, corners fit to {profile.rms_px:.2f} px rms; kept in {kept}")


def _progress(paths: list[Path], *, quiet: bool) -> Iterable[Path]:
    """The paths, with a bar on stderr where there are several."""
    if quiet:
        return paths
    from rich.console import Console
    from rich.progress import track

    return track(paths, description="mapping", console=Console(stderr=True))
