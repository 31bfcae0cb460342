"""The plan of a study: its schema, its reading, and the ready-made protocols.

`import protocols` loads no pydantic; it is loaded when a protocol is first read.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from protocols.choices import with_choices as with_choices
    from protocols.keys import KeyDescription as KeyDescription
    from protocols.keys import describe as describe
    from protocols.reading import packaged as packaged
    from protocols.reading import packaged_path as packaged_path
    from protocols.reading import parse_protocol as parse_protocol
    from protocols.reading import read_protocol as read_protocol
    from protocols.schema import MeasurePlan as MeasurePlan
    from protocols.schema import Protocol as Protocol
    from protocols.sealing import freeze as freeze

_EXPORTS: dict[str, str] = {
    "KeyDescription": "keys",
    "MeasurePlan": "schema",
    "Protocol": "schema",
    "describe": "keys",
    "freeze": "sealing",
    "packaged": "reading",
    "packaged_path": "reading",
    "parse_protocol": "reading",
    "read_protocol": "reading",
    "with_choices": "choices",
}
"""Public name to the module that holds it."""

__all__ = sorted(_EXPORTS)


def __getattr__(name: str) -> Any:
    if name in _EXPORTS:
        value = getattr(import_module(f"protocols.{_EXPORTS[name]}"), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'protocols' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *_EXPORTS})
