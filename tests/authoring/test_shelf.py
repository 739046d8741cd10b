"""Where shipped flows and sample conversations are found."""

from __future__ import annotations

from pathlib import Path

import pytest

from bot.authoring import shelf


def put(folder: Path, *names: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        (folder / name).write_text("x", encoding="utf-8")
    return folder


def test_beside_a_checkout(tmp_path: Path) -> None:
    put(tmp_path / "bot")
    put(tmp_path / "flows", "common.yaml", "ticking.yaml", "brakes.yaml", "notes.txt")
    found = shelf.find(tmp_path / "bot")
    assert found.ids() == ("brakes", "ticking")
    assert found.common == tmp_path / "flows" / "common.yaml"
    assert found.samples == tmp_path / "sample_conversations"


def test_inside_the_installed_package_whatever_lies_beside_it(tmp_path: Path) -> None:
    put(tmp_path / "flows", "of-another-package.yaml")
    put(tmp_path / "bot" / "_flows", "ticking.yaml")
    found = shelf.find(tmp_path / "bot")
    assert found.ids() == ("ticking",)
    assert found.flow("ticking") == tmp_path / "bot" / "_flows" / "ticking.yaml"
    assert found.samples == tmp_path / "bot" / "_sample_conversations"


@pytest.mark.parametrize("id", ["common", "../secret", "", "ticking.yaml", "nothing"])
def test_only_flows_are_handed_out(tmp_path: Path, id: str) -> None:
    put(tmp_path / "bot")
    put(tmp_path / "flows", "common.yaml", "ticking.yaml")
    put(tmp_path, "secret.yaml")
    with pytest.raises(KeyError):
        shelf.find(tmp_path / "bot").flow(id)


def test_nothing_anywhere_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="no flows in"):
        shelf.find(put(tmp_path / "bot"))


def test_this_installation_has_its_shelf() -> None:
    assert shelf.find().common.is_file()
