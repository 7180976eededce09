"""What a set of photos still lacks, told while somebody is on site: from the targets seen in each photo alone, in a moment.

The rules are those of the guide that is printed with the sheets; what the photos are worth in mm says the measurement.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from phototemplate.web.constants import ENOUGH_PHOTOS, SEEN_OFTEN, TOLD_AT_ONCE


@dataclass(frozen=True)
class SeenPhoto:
    """What one photo shows."""

    targets: frozenset[str]
    turned: bool
    """Taken upright, where most are taken lying"""
    sharp: bool = True


def photo_of(seen: Mapping[str, Any]) -> SeenPhoto:
    """A photo by what the worker tells of it (``worker_tasks.photos.inspect``)."""
    w, h = seen["size"]
    upright = (w > h) == (seen["orientation"] >= 5)
    sharp = all(f["code"] != "photo-blurred" for f in seen["findings"])
    return SeenPhoto(frozenset(t["id"] for t in seen["targets"]), upright, sharp)


def missing(photos: Sequence[SeenPhoto]) -> list[dict[str, Any]]:
    """What to do next, the most important first, as a code with facts; empty where it is enough."""
    useful = [p for p in photos if p.sharp and _sheets(p)]
    if not useful:
        return [{"code": "none"}]
    out: list[dict[str, Any]] = []
    parts = _connected(useful)
    if len(parts) > 1:
        # the largest part, and whatever is seen but hangs on nothing
        first, second = parts[0], parts[1]
        out.append({"code": "together", "a": min(second), "b": min(first)})
    count = Counter(t for p in useful for t in _sheets(p))
    rare = sorted((t for t, n in count.items() if n < SEEN_OFTEN), key=lambda t: (count[t], t))
    out += [{"code": "seldom", "sheet": t, "n": count[t], "more": SEEN_OFTEN - count[t]} for t in rare]
    turned = sum(p.turned for p in useful)
    if len(useful) > 2 and turned in (0, len(useful)):
        out.append({"code": "turn"})
    if len(useful) < ENOUGH_PHOTOS:
        out.append({"code": "more", "n": ENOUGH_PHOTOS - len(useful)})
    return out[:TOLD_AT_ONCE]


def _sheets(photo: SeenPhoto) -> set[str]:
    """Target sheets; strips and bars hold no photos together."""
    return {t for t in photo.targets if t.startswith("S")}


def _connected(photos: Iterable[SeenPhoto]) -> list[set[str]]:
    """Sheets that hang together through photos that show two or more of them, the largest part first."""
    parts: list[set[str]] = []
    for photo in photos:
        new = _sheets(photo)
        touching = [p for p in parts if p & new]
        parts = [p for p in parts if not p & new] + [new.union(*touching)]
    return sorted(parts, key=lambda p: (-len(p), min(p)))
