"""Puts the validated form of every flow into the wheel, so that no talk has to read YAML."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class ParsedFlows(BuildHookInterface):  # type: ignore[type-arg,misc]
    """A flow with a mistake in it stops the build, with the place of the mistake."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        if version == "editable":  # the checkout's own files are read then
            return
        sys.path.insert(0, self.root)
        from bot.authoring import load

        self._folder = tempfile.TemporaryDirectory()
        for path in load.keep(Path(self._folder.name), Path(self.root, "flows")):
            build_data["force_include"][str(path)] = f"bot/_flows/_parsed/{path.name}"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        if version != "editable":
            self._folder.cleanup()
