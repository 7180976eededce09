"""A smeared photo orients itself, but no edge is traced in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phototemplate.model import EdgeHint, Sightings
from phototemplate.photo_selection import by_network, without_blurred
from tests.finding_examples import example
from tests.output.samples import measurement


def _seen(photo_id: str, *codes: str) -> Sightings:
    findings = tuple(example(c, photo_id) for c in codes)
    return Sightings(photo_id, (), np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros((0, 2, 2)), findings)


def test_edges_are_traced_in_the_sharp_photos() -> None:
    network = measurement().network
    smeared, *others = network.photos
    seen = {smeared: _seen(smeared, "photo-smeared")} | {p: _seen(p, "photo-few-points") for p in others}
    sharp = without_blurred(network, seen)
    assert list(sharp.photos) == others
    assert sharp.influences is network.influences
    drawn = EdgeHint("a", "front", anchor="photo", anchor_id=smeared)
    elsewhere = replace(drawn, edge_id="b", anchor_id=others[0])
    assert [(n, [h.edge_id for h in hints]) for n, hints in by_network([drawn, elsewhere], sharp, network)] == [
        (sharp, ["b"]),
        (network, ["a"]),
    ]


def test_all_photos_stay_where_most_are_smeared() -> None:
    network = measurement().network
    seen = {p: _seen(p, "photo-smeared") for p in list(network.photos)[1:]}
    assert without_blurred(network, seen) is network
