"""Files that people write (TOML): read against their model, every mistake said with its place, and written whole."""

from __future__ import annotations

import codecs
import difflib
import tomllib
from collections.abc import Callable, Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar

import tomlkit
from pydantic import BaseModel, ValidationError

from phototemplate.atomic import write_text_atomic
from phototemplate.constants import DEEPEST_KEY, DEEPEST_LINE, LONGEST_FILE, MOST_TOLD
from phototemplate.errors import InputError
from phototemplate.units import WITH_UNITS

Model = TypeVar("Model", bound=BaseModel)


def read_toml(
    path: Path, model: type[Model], context: Callable[[dict[str, Any]], Any] = lambda _: None
) -> Model:
    """Read a file. Raises ``InputError`` where it cannot be read, and as :func:`parse_toml`."""
    try:
        return parse_toml(path.read_bytes(), str(path), model, context)
    except OSError as exc:
        raise InputError(f"{path} cannot be read ({exc.strerror}); check its name and whether it may be read.") from exc


def parse_toml(
    data: bytes, where: str, model: type[Model], context: Callable[[dict[str, Any]], Any] = lambda _: None
) -> Model:
    """Read a file's text. ``InputError`` names each mistake's place and what to do, up to ``MOST_TOLD`` of them.

    ``context`` makes of the plain data what the model's validators are told.
    """
    if len(data) > LONGEST_FILE:
        raise InputError(f"{where} has {len(data) / 1e6:.0f} MB, far too much to be written by hand; put the right one back.")
    for number, line in enumerate(data.splitlines(), 1):
        key = line.partition(b"=")[0].partition(b"#")[0]
        if key.count(b".") > DEEPEST_KEY or line.count(b"[") > DEEPEST_LINE:
            raise InputError(f"{where} line {number} is nested deeper than any such file; mend that line.")
    try:
        raw = tomllib.loads(data.removeprefix(codecs.BOM_UTF8).decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, ValueError) as exc:  # ValueError: a number of thousands of digits
        raise InputError(f"{where} is not valid TOML: {exc}; mend that line.") from exc
    except RecursionError as exc:
        raise InputError(f"{where} has brackets within brackets hundreds deep; no such file has; mend it.") from exc
    try:
        return model.model_validate(raw, context=context(raw))
    except ValidationError as exc:
        texts = [f"{where}: {text}" for text in islice(_sentences(exc, model), MOST_TOLD)]
        more = exc.error_count() - len(texts)
        raise InputError("\n".join([*texts, *([f"{where}: {more} more like these."] if more else [])])) from exc


def parsed(data: Mapping[str, Any], model: type[Model], what: str) -> Model:
    """The same from plain data. Raises ``InputError`` with the first mistake."""
    try:
        return model.model_validate(data)
    except ValidationError as exc:
        raise InputError(f"{what} cannot be used: {next(_sentences(exc, model))}") from exc


def write_toml(path: Path, file: BaseModel, units: bool = False) -> None:
    """Write a file, lengths with their unit where ``units``; tables that did not change keep their comments.

    Raises ``OutputError``; the earlier file stays.
    """
    context = WITH_UNITS if units else None
    new: Mapping[str, Any] = file.model_dump(
        mode="json", by_alias=True, exclude_defaults=True, exclude_none=True, context=context
    )
    document = tomlkit.parse(path.read_text(encoding="utf-8")) if path.exists() else tomlkit.document()
    for key in [k for k in document if k not in new]:
        del document[key]
    for key, value in new.items():
        if key not in document or document[key].unwrap() != value:
            document[key] = value
    write_text_atomic(path, tomlkit.dumps(document))


def _sentences(exc: ValidationError, model: type[BaseModel]) -> Iterator[str]:
    for error in exc.errors():
        place = ".".join(str(part + 1) if isinstance(part, int) else part for part in error["loc"]) or "the file"
        if error["type"] == "extra_forbidden":
            known = list(_fields_at(model, error["loc"][:-1]))
            near = difflib.get_close_matches(str(error["loc"][-1]), known, 1)
            hint = f"did you mean `{near[0]}`?" if near else f"known here are {', '.join(sorted(known))}."
            yield f"unknown key `{place}`; {hint}"
        else:
            message = error["msg"].removeprefix("Value error, ")
            if error["type"] in _LIMITS:
                message = _LIMITS[error["type"]].format(*error.get("ctx", {}).values(), given=str(error["input"])[:40])
            yield f"`{place}`: {message}" + ("" if message.endswith((".", "?")) else ".")


_LIMITS = {
    "greater_than_equal": "{given} is too small; it cannot be below {0:g}",
    "less_than_equal": "{given} is too large; it cannot be above {0:g}",
    "finite_number": "{given} is not a number that can be computed with",
}
"""Sentences for values out of their range"""


def _fields_at(model: type[BaseModel], loc: tuple[int | str, ...]) -> Iterator[str]:
    """Names allowed at a place of the model, found by walking the annotations."""
    current: Any = model
    for part in loc:
        if isinstance(part, int):
            continue
        info = current.model_fields.get(part) if isinstance(current, type) and issubclass(current, BaseModel) else None
        if info is None:
            continue
        current = info.annotation
        while not (isinstance(current, type) and issubclass(current, BaseModel)):
            inner = [a for a in getattr(current, "__args__", ()) if isinstance(a, type)]
            if not inner:
                return
            current = inner[-1]
    for name, info in current.model_fields.items():
        yield info.alias or name
