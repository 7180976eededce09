"""What the app does not do, as a code and facts; the page words them, so that all its English is in one place."""

from __future__ import annotations

from typing import Any

from phototemplate.errors import InputError


class Refused(InputError):
    """A wish that is not granted. ``error.<code>`` in the page's text is its sentence, ``facts`` fill it in."""

    def __init__(self, code: str, status: int = 422, **facts: object) -> None:
        super().__init__(" ".join([code, *(f"{k}={v}" for k, v in facts.items())]))
        self.code, self.status = code, status
        self.facts = {k: str(v) for k, v in facts.items()}


class Conflict(Refused):
    """The change was based on a revision that is no longer the present one."""

    def __init__(self) -> None:
        super().__init__("conflict", 409)


class Cancelled(Refused):
    """The user ended the work."""

    def __init__(self) -> None:
        super().__init__("stopped", 409)


class WorkerLost(Refused):
    """The worker process died in the middle of a task."""

    def __init__(self) -> None:
        super().__init__("worker-lost", 503)


def refused_by_the_disk(exc: OSError) -> Refused:
    """What the system would not write or read; wherever that happens it is one refusal."""
    return Refused("disk", 507, detail=exc.strerror or str(exc)[:200])


def status_of(exc: Exception) -> int:
    """HTTP status of an error."""
    return exc.status if isinstance(exc, Refused) else 507 if isinstance(exc, OSError) else 422


def words_of(exc: Exception) -> dict[str, Any]:
    """An error as the page gets it: a code with facts, or the engine's own sentence as ``detail``."""
    exc = refused_by_the_disk(exc) if isinstance(exc, OSError) else exc
    if isinstance(exc, Refused):
        return {"error": exc.code, "detail": exc.facts.get("detail", ""), "facts": exc.facts}
    return {"error": "trouble", "detail": str(exc), "facts": {}}
