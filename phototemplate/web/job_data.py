"""The job file as plain data and back, as the operations and the journal want it."""

from __future__ import annotations

from typing import Any

import tomlkit

from phototemplate.errors import InputError, JobFileError
from phototemplate.job import JOB_FILE, JobFile, parse_job
from phototemplate.web.refusals import Refused


def plain(file: JobFile) -> dict[str, Any]:
    """The job file as plain data, without what is left at its default; lengths are mm."""
    out: dict[str, Any] = file.model_dump(mode="json", by_alias=True, exclude_defaults=True, exclude_none=True)
    return out


def checked(table: dict[str, Any]) -> JobFile:
    """Plain data as a job file. Raises ``InputError`` with a sentence that names the place."""
    try:
        return parse_job(tomlkit.dumps(table).encode(), JOB_FILE, all_mm=True)
    except JobFileError as exc:
        raise InputError(str(exc).replace(f"{JOB_FILE}: ", "")) from exc
    except (ValueError, TypeError) as exc:
        raise Refused("not-toml", detail=exc) from exc


def without_none(value: Any) -> Any:
    """Plain data without nulls, which a TOML file cannot hold."""
    if isinstance(value, dict):
        return {k: without_none(v) for k, v in value.items() if v is not None}
    if isinstance(value, list):
        return [without_none(v) for v in value if v is not None]
    return value
