"""Lens profiles on disk: TOML, one file a profile; the user's own lie in the config folder and are found by EXIF."""

import math
import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
from platformdirs import user_config_path

from hidescan.basics.atomic_files import write_whole
from hidescan.basics.errors import BadInput
from hidescan.basics.reading import read_text
from hidescan.floor.lens_profile import LensProfile

_HEAD = """\
# hidescan lens profile: focal length and distortion (k1, k2 on normalised coordinates, as in OpenCV);
# covariance is over ln focal length, k1, k2
"""


def to_toml(profile: LensProfile) -> bytes:
    """The profile's file."""
    import tomli_w

    plain = {
        "camera": profile.camera,
        "focal_mm": profile.focal_mm,
        "focal_35mm": profile.focal_35mm,
        "size_px": [profile.long_side_px, profile.short_side_px],
        "focal_px": profile.focal_px,
        "k1": profile.k1,
        "k2": profile.k2,
        "covariance": profile.covariance.tolist(),
        "photos": profile.photos,
        "rms_px": profile.rms_px,
        "taken": profile.taken or None,
    }
    return (_HEAD + tomli_w.dumps({name: value for name, value in plain.items() if value is not None})).encode()


def read_profile(path: Path) -> LensProfile:
    """Read a profile.

    Raises
    ------
    BadInput
        Missing, or no lens profile.
    """
    text = read_text(path)
    try:
        plain = tomllib.loads(text)
        long_side, short_side = plain["size_px"]
        covariance = np.array(plain["covariance"], dtype=np.float64)
        profile = LensProfile(
            camera=str(plain["camera"]),
            focal_mm=_number(plain.get("focal_mm")),
            focal_35mm=_number(plain.get("focal_35mm")),
            long_side_px=int(long_side),
            short_side_px=int(short_side),
            focal_px=float(plain["focal_px"]),
            k1=float(plain["k1"]),
            k2=float(plain["k2"]),
            covariance=covariance,
            photos=int(plain["photos"]),
            rms_px=float(plain["rms_px"]),
            taken=None if plain.get("taken") is None else str(plain["taken"]),
        )
        np.linalg.cholesky(covariance.reshape(3, 3))  # also refuses NaN and what is no covariance
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError, np.linalg.LinAlgError) as error:
        raise BadInput(f"{path}: is not a lens profile. Make one with hidescan lens.") from error
    lengths = (profile.focal_px, *(f for f in (profile.focal_mm, profile.focal_35mm) if f is not None))
    if not all(0 < f < math.inf for f in lengths):
        raise BadInput(f"{path}: a focal length must be a number, more than zero.")
    if not all(map(math.isfinite, (profile.k1, profile.k2, profile.rms_px))):
        raise BadInput(f"{path}: k1, k2 and rms_px must be numbers.")
    return profile


def keep_profile(profile: LensProfile) -> Path:
    """Keep a profile among the user's own, so that matching photos find it; returns where."""
    name = f"{profile.camera} {profile.focal_35mm or profile.focal_mm or ''} {profile.long_side_px}"
    path = _folder() / f"{re.sub(r'[^A-Za-z0-9.]+', '-', name).strip('-')}.toml"
    write_whole(path, to_toml(profile))
    return path


def kept_profiles() -> dict[str, LensProfile]:
    """The user's own profiles by name."""
    folder = _folder()
    return {path.stem: read_profile(path) for path in sorted(folder.glob("*.toml"))} if folder.is_dir() else {}


def _folder() -> Path:
    return Path(user_config_path("hidescan", appauthor=False)) / "lenses"


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
