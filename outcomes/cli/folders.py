"""`outcomes new` and `outcomes freeze`: a new study folder, a sealed protocol."""

from __future__ import annotations

from pathlib import Path

from outcomes.cli.output import Output
from outcomes.errors import UsageError, near_word


def make_study(folder: Path, protocol: str, output: Output) -> None:
    """Write a new study folder from a ready-made protocol or a protocol file.

    Raises
    ------
    UsageError
        No such protocol, or the folder is not empty.
    DefinitionError
        The protocol is refused.
    """
    from outcomes.intake import new_study

    files = new_study(folder, protocol_file(protocol))
    lines = [f"{folder}:", *(f"  {path.relative_to(folder)}" for path in files)]
    output.data("\n".join(lines), {"folder": str(folder), "files": [str(path) for path in files]})
    output.say(f"Fill in the workbook, then: outcomes check {folder}")


def protocol_file(name: str) -> Path:
    """Return the path of a ready-made protocol by name, or of a protocol file.

    Raises
    ------
    UsageError
        Neither.
    """
    from protocols import packaged, packaged_path

    if name in packaged():
        return packaged_path(name)
    path = Path(name)
    if path.is_dir():
        path = path / "protocol.toml"
    if path.is_file():
        return path
    raise UsageError(
        f"no protocol '{name}'{near_word(name, packaged())}\n"
        f"Ready-made: {', '.join(packaged())}; or name a protocol.toml file."
    )


def seal_protocol(folder: Path, output: Output) -> None:
    """Seal the protocol of a study folder.

    Raises
    ------
    UsageError
        The folder holds no protocol.
    DefinitionError
        The protocol is refused.
    """
    from protocols import freeze

    path = folder / "protocol.toml"
    if not path.is_file():
        raise UsageError(f"{folder} holds no protocol.toml; 'outcomes new' writes one")
    protocol = freeze(path)
    frozen = protocol.frozen
    assert frozen is not None
    output.data(
        f"{path}: sealed on {frozen.on}, sha256 {frozen.sha256}",
        {"protocol": str(path), "on": str(frozen.on), "sha256": frozen.sha256},
    )
    output.say("A later change of the protocol is printed as changed after freezing.")
