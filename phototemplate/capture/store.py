"""Decoded pictures on demand, within a memory budget."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable, Mapping

from phototemplate.capture.photos import read_gray
from phototemplate.model import GrayImage, PhotoMeta


class PhotoStore:
    """Grey pictures in stored orientation, decoded when asked for and kept while they fit.

    Safe to use from several threads; a picture larger than the whole budget is decoded each time.
    """

    def __init__(self, photos: Iterable[PhotoMeta], budget_bytes: int = 400_000_000) -> None:
        self.photos: Mapping[str, PhotoMeta] = {p.photo_id: p for p in photos}
        self._budget = budget_bytes
        self._kept: OrderedDict[str, GrayImage] = OrderedDict()
        self._lock = threading.Lock()

    def gray(self, photo_id: str) -> GrayImage:
        """Full-size grey picture. Raises ``PhotoError`` where the file cannot be decoded."""
        with self._lock:
            if photo_id in self._kept:
                self._kept.move_to_end(photo_id)
                return self._kept[photo_id]
        image = read_gray(self.photos[photo_id])
        with self._lock:
            if image.nbytes <= self._budget:
                self._kept[photo_id] = image
                while sum(i.nbytes for i in self._kept.values()) > self._budget:
                    self._kept.popitem(last=False)
        return image
