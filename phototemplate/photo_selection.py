"""Which photos edges are traced in.

A smeared photo still orients itself by its targets, whose blur is known and counted. An edge in it is another matter: the
smear draws the edge, its shadow gap and the panel below it into one, and what is then traced can be their neighbour. A wrong
trace has the same claim as a right one in the intersection, so one smeared photo can carry an edge away.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from phototemplate.capture.quality import BLURRED
from phototemplate.model import EdgeHint, Network, Sightings


def without_blurred(network: Network, sightings: Mapping[str, Sightings]) -> Network:
    """The network without the photos named blurred; whole where fewer than half of its photos are sharp."""
    blurred = {p for p, s in sightings.items() if any(f.code in BLURRED for f in s.findings)}
    sharp = {p: pose for p, pose in network.photos.items() if p not in blurred}
    return replace(network, photos=sharp) if 2 * len(sharp) >= len(network.photos) else network


def by_network(hints: Sequence[EdgeHint], sharp: Network, whole: Network) -> list[tuple[Network, list[EdgeHint]]]:
    """Hints with the network they are traced in: all photos for those that are drawn in a photo that is not sharp."""
    drawn = [h for h in hints if h.anchor == "photo" and h.anchor_id in whole.photos and h.anchor_id not in sharp.photos]
    others = [h for h in hints if not any(h is d for d in drawn)]
    return [(network, mine) for network, mine in ((sharp, others), (whole, drawn)) if mine]
