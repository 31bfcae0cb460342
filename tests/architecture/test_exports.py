"""Every public name is there, and is what it says."""

from __future__ import annotations

import inspect
from importlib import import_module
from pathlib import Path

import pytest

import outcomes

ROOMS_WITH_EXPORTS = (
    "protocols",
    *(f"outcomes.{room}" for room in ("measures", "dose", "intake", "study", "analysis", "reports")),
    *(f"outcomes.{room}" for room in ("models", "reliability", "change", "dose_response", "single_case")),
)


@pytest.mark.parametrize("name", sorted(outcomes._EXPORTS))
def test_a_public_name_comes_from_the_room_that_is_named(name: str) -> None:
    value = getattr(outcomes, name)
    room = f"outcomes.{outcomes._EXPORTS[name]}"
    assert value is getattr(import_module(room), name)
    if inspect.isclass(value) or inspect.isfunction(value):
        assert value.__name__ == name
        assert value.__module__ == room or value.__module__.startswith(f"{room}.")


def test_the_package_lists_what_it_exports() -> None:
    assert set(outcomes._EXPORTS) <= set(dir(outcomes))
    assert set(outcomes.__all__) == {"__version__", *outcomes._EXPORTS}


def test_a_name_that_is_not_there_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'analyze'"):
        outcomes.analyze  # noqa: B018


@pytest.mark.parametrize("room", ROOMS_WITH_EXPORTS)
def test_a_room_holds_every_name_that_it_lists(room: str) -> None:
    module = import_module(room)
    assert module.__all__, f"{room} lists no public name"
    missing = [name for name in module.__all__ if not hasattr(module, name)]
    assert missing == []
    assert set(getattr(module, "_EXPORTS", module.__all__)) <= set(module.__all__)


@pytest.mark.parametrize("room", ROOMS_WITH_EXPORTS)
def test_no_function_bears_its_modules_name(room: str) -> None:
    module = import_module(room)
    folder = Path(str(module.__file__)).parent
    beside = {path.stem for path in folder.glob("*.py")} if Path(str(module.__file__)).name == "__init__.py" else set()
    assert not beside & set(module.__all__)
    assert room.rpartition(".")[2] not in module.__all__
