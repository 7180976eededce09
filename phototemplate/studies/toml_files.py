"""Small TOML files beside a job, each with a model of its own: read with the place of the first fault, written whole."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

import tomlkit
from pydantic import ValidationError

from phototemplate.atomic import write_text_atomic
from phototemplate.errors import InputError
from phototemplate.settings import Section

File = TypeVar("File", bound=Section)


def read_toml(path: Path, model: type[File]) -> File:
    """Read a file. Raises ``InputError`` with the place of the first fault."""
    try:
        return model.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except OSError as exc:
        raise InputError(f"{path} cannot be read ({exc.strerror}).") from exc
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as exc:
        raise InputError(f"{path} is not valid TOML: {exc}; mend that line.") from exc
    except ValidationError as exc:
        raise InputError(f"{path}: {fault_words(exc, model)}") from exc


def fault_words(exc: ValidationError, model: type[Section]) -> str:
    """The first fault in one sentence: where, what."""
    first = exc.errors()[0]
    place = ".".join(str(part + 1) if isinstance(part, int) else str(part) for part in first["loc"]) or "the file"
    if first["type"] == "extra_forbidden":
        *table, _ = first["loc"]
        there = f"; {', '.join(model.model_fields)} can stand there" if not table else ""
        return f"`{place}` is not known here{there}."
    return f"`{place}`: {first['msg'].removeprefix('Value error, ')}."


def write_toml(path: Path, file: Section) -> None:
    """Write a file; tables that did not change keep their comments. Raises ``OutputError``; the earlier file stays."""
    new: Mapping[str, Any] = file.model_dump(mode="json", by_alias=True, exclude_defaults=True, exclude_none=True)
    document = tomlkit.parse(path.read_text(encoding="utf-8")) if path.exists() else tomlkit.document()
    for key in [k for k in document if k not in new]:
        del document[key]
    for key, value in new.items():
        if key not in document or document[key].unwrap() != value:
            document[key] = value
    write_text_atomic(path, tomlkit.dumps(document))
