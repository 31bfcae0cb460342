"""Every public name has a docstring and full annotations; the exported functions describe each parameter."""

from __future__ import annotations

import ast
import inspect
import re
from collections.abc import Iterator
from importlib import import_module

import pytest

import outcomes

Function = ast.FunctionDef | ast.AsyncFunctionDef


def public(module: str, tree: ast.Module) -> Iterator[tuple[str, Function | ast.ClassDef]]:
    """Yield the public functions, classes and methods of a module with their dotted names."""

    def walk(prefix: str, body: list[ast.stmt]) -> Iterator[tuple[str, Function | ast.ClassDef]]:
        for node in body:
            if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_"):
                yield f"{prefix}.{node.name}", node
                if isinstance(node, ast.ClassDef):
                    yield from walk(f"{prefix}.{node.name}", node.body)

    if not any(part.startswith("_") for part in module.split(".")):
        yield from walk(module, tree.body)


def overrides(node: Function) -> bool:
    """Whether a method says that it fulfils what its base describes."""
    return any(isinstance(d, ast.Name) and d.id == "override" for d in node.decorator_list)


def test_every_module_says_what_it_is(modules: dict[str, ast.Module]) -> None:
    assert [name for name, tree in modules.items() if not ast.get_docstring(tree)] == []


def test_every_public_name_has_a_docstring(modules: dict[str, ast.Module]) -> None:
    described_by_base = {"summary", "to_frame"}
    missing = [
        name
        for module, tree in modules.items()
        for name, node in public(module, tree)
        if not ast.get_docstring(node) and node.name not in described_by_base
    ]
    assert missing == []


def test_every_public_function_is_annotated(modules: dict[str, ast.Module]) -> None:
    bare = []
    for module, tree in modules.items():
        for name, node in public(module, tree):
            if not isinstance(node, Function):
                continue
            arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            arguments += [a for a in (node.args.vararg, node.args.kwarg) if a is not None]
            bare += [f"{name}({a.arg})" for a in arguments if a.annotation is None and a.arg not in ("self", "cls")]
            if node.returns is None:
                bare.append(f"{name} -> ?")
    assert bare == []


@pytest.mark.parametrize(
    "name", sorted(n for n in outcomes._EXPORTS if outcomes._EXPORTS[n] not in ("result", "errors"))
)
def test_an_exported_function_describes_parameters_and_result(name: str) -> None:
    value = getattr(import_module(f"outcomes.{outcomes._EXPORTS[name]}"), name)
    if not inspect.isfunction(value):
        pytest.fail(f"{name} has no docstring") if not inspect.getdoc(value) else None
        return
    text = inspect.getdoc(value) or ""
    assert re.search(r"^Parameters\n-+$", text, flags=re.MULTILINE), f"{name}: no Parameters"
    assert re.search(r"^Returns\n-+$", text, flags=re.MULTILINE), f"{name}: no Returns"
    section = re.split(r"^Parameters\n-+\n", text, flags=re.MULTILINE)[1].partition("\n\n")[0]
    described = re.findall(
        r"^(\*{0,2}[a-z_][a-z0-9_]*(?:, \*{0,2}[a-z_][a-z0-9_]*)*)(?: :|$)", section, flags=re.MULTILINE
    )
    named = {word.strip(" *") for line in described for word in line.split(",")}
    assert set(inspect.signature(value).parameters) == named
