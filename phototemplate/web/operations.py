"""Operations on the job file as plain data: what the page asks for, checked by the job file's own rules afterwards.

A place is a list of keys; a member of a list of tables is named by ``{"id": "front"}``, any other by its number.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

from phototemplate.web.constants import MOST_OPERATIONS
from phototemplate.web.refusals import Refused

Table = dict[str, Any]
Place = list[Any]


def apply_operations(job: Table, operations: Any) -> Table:
    """The job with the operations done, in order. Raises ``Refused`` for what cannot be done."""
    if not isinstance(operations, list) or not 0 < len(operations) <= MOST_OPERATIONS:
        raise Refused("bad-change", what="no operations")
    out = copy.deepcopy(job)
    for one in operations:
        if not isinstance(one, dict) or not isinstance(name := one.get("op"), str) or name not in OPERATIONS:
            raise Refused("bad-change", what="operation")
        try:
            OPERATIONS[name](out, one)
        except (AttributeError, KeyError, TypeError) as exc:  # an earlier operation has left something of another shape there
            raise Refused("bad-change", what=name) from exc
    return out


def _set(job: Table, one: Table) -> None:
    """Put a value at a place; null removes it, so that the default holds."""
    *way, last = _place(one)
    holder = _walk(job, way, make=True)
    value = one.get("value")
    if isinstance(holder, list):
        k = _index(holder, last)
        if value is None:
            del holder[k]
        else:
            holder[k] = value
    elif value is None:
        holder.pop(_key(last), None)
        _prune(job, way)
    else:
        holder[_key(last)] = value


def _prune(job: Table, way: Place) -> None:
    """A table whose last key went goes with it, but for the members of lists."""
    while way and not _walk(job, way, make=False):
        *way, last = way
        holder = _walk(job, way, make=False)
        if not isinstance(holder, dict):
            return
        del holder[_key(last)]


def _add(job: Table, one: Table) -> None:
    """Append a value to a list, or insert it at ``index``."""
    *way, last = _place(one)
    holder = _walk(job, way, make=True)
    if not isinstance(holder, dict):
        raise Refused("bad-change", what=last)
    members = holder.setdefault(_key(last), [])
    if not isinstance(members, list):
        raise Refused("bad-change", what=last)
    index = one.get("index")
    members.insert(index if isinstance(index, int) and 0 <= index <= len(members) else len(members), one.get("value"))


def _remove(job: Table, one: Table) -> None:
    """Remove a member of a list or a key."""
    _set(job, {**one, "value": None})


def _remove_edge(job: Table, one: Table) -> None:
    """Remove an edge and its name from loops and pieces."""
    name = str(one.get("id"))
    job["edges"] = [e for e in job.get("edges", []) if e.get("id") != name]
    for loop in job.get("loops", []):
        loop["edges"] = [e for e in loop.get("edges", []) if e != name]
    emptied = {loop["id"] for loop in job.get("loops", []) if not loop["edges"]}
    if emptied:
        job["loops"] = [loop for loop in job["loops"] if loop["id"] not in emptied]
    for piece in job.get("pieces", []):
        piece.get("edges", {}).pop(name, None)
        for corner in [c for c in piece.get("corners", {}) if name in c.split("/")]:
            del piece["corners"][corner]


def _rename(job: Table, one: Table) -> None:
    """Give an edge, loop or piece another id, wherever its name is used."""
    kind, old, new = str(one.get("kind")), str(one.get("id")), str(one.get("to")).strip()
    keys = {"edge": ("edges", _EDGE_NAMES), "loop": ("loops", {"loop"}), "piece": ("pieces", set())}
    if kind not in keys:
        raise Refused("bad-change", what=kind)
    listing, names = keys[kind]
    if not new or "/" in new:
        raise Refused("bad-name")
    if any(m.get("id") == new for m in job.get(listing, [])):
        raise Refused("name-taken", 409, name=new)
    for member in job.get(listing, []):
        if member.get("id") == old:
            member["id"] = new
    if kind == "edge":
        for loop in job.get("loops", []):
            loop["edges"] = [new if e == old else e for e in loop.get("edges", [])]
        for piece in job.get("pieces", []):
            if old in piece.get("edges", {}):
                piece["edges"] = {new if k == old else k: v for k, v in piece["edges"].items()}
            piece_corners = piece.get("corners", {})
            if any(old in k.split("/") for k in piece_corners):
                piece["corners"] = {"/".join(new if p == old else p for p in k.split("/")): v for k, v in piece_corners.items()}
    for key in ("pieces", "openings", "appliances", "centre_lines", "distances"):
        _rename_in(job.get(key, []), names, old, new)
    if kind != "loop":
        for photo in job.get("site_photos", []):
            photo["at"] = "/".join(new if p == old else p for p in str(photo["at"]).split("/"))


_EDGE_NAMES = {"run", "edge", "mark", "square_to", "to", "between", "towards"}


def _rename_in(value: Any, names: set[str], old: str, new: str) -> None:
    if isinstance(value, list):
        for member in value:
            _rename_in(member, names, old, new)
    elif isinstance(value, dict):
        for key, inner in value.items():
            if key in names and inner == old:
                value[key] = new
            elif key in names and isinstance(inner, list):
                value[key] = [new if e == old else e for e in inner]
            elif key == "corner" and isinstance(inner, str) and names is not None and "edge" in names:
                value[key] = "/".join(new if p == old else p for p in inner.split("/"))
            else:
                _rename_in(inner, names, old, new)


OPERATIONS: dict[str, Callable[[Table, Table], None]] = {
    "set": _set, "add": _add, "remove": _remove, "remove-edge": _remove_edge, "rename": _rename,
}


def _place(one: Table) -> Place:
    at = one.get("at")
    if not isinstance(at, list) or not 0 < len(at) <= 12:
        raise Refused("bad-change", what="place")
    return at


def _walk(job: Any, way: Place, make: bool) -> Any:
    here = job
    for part in way:
        if isinstance(here, list):
            here = here[_index(here, part)]
        elif isinstance(here, dict):
            key = _key(part)
            if key not in here:
                if not make:
                    raise Refused("bad-change", what=key)
                here[key] = {}
            here = here[key]
        else:
            raise Refused("bad-change", what=part)
    return here


def _index(members: list[Any], part: Any) -> int:
    if isinstance(part, dict):
        for k, member in enumerate(members):
            if isinstance(member, dict) and member.get("id") == part.get("id"):
                return k
        raise Refused("gone", 409, name=part.get("id"))
    if isinstance(part, int) and not isinstance(part, bool) and 0 <= part < len(members):
        return part
    raise Refused("bad-change", what=part)


def _key(part: Any) -> str:
    if not isinstance(part, str):
        raise Refused("bad-change", what=part)
    return part
