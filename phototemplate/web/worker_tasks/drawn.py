"""A job of drawn shapes without photos, as the page shows it: nothing is measured, the pieces are what they are drawn as."""

from __future__ import annotations

from typing import Any

import numpy as np

from phototemplate import __version__
from phototemplate.errors import InputError
from phototemplate.job import Job
from phototemplate.template.drawn import no_outline
from phototemplate.template.pieces import build_template
from phototemplate.template.rules import CAUTION_CODES
from phototemplate.web.worker_tasks.spoken import phrase_part
from phototemplate.web.worker_tasks.stone import template_part, trouble_of

NOTHING = ("classes", "edges", "loops", "sheets", "strips", "heights", "lengths", "findings", "distances")
"""What a page shows of a measurement, and there is none"""


def is_drawn(job: Job) -> bool:
    """Are there shapes, and no photos to measure?"""
    return bool(job.file.drawn) and not job.photo_paths()


def view_of_drawn(job: Job) -> tuple[Any, dict[str, Any]]:
    """The pieces, and everything that the page shows of them."""
    file = job.file
    template, trouble = None, None
    try:
        template = build_template(no_outline(), file.template_spec(), (), job.folder)
        trouble = trouble_of(template.refused[0][1]) if template.refused else None
    except InputError as exc:
        trouble = trouble_of(exc)
    stone = {} if template is None else template_part(template, np.eye(3), file.units)
    corners = np.array([xy for p in stone.get("pieces", []) for xy in p["shape"]] or [[0.0, 0.0], [file.tolerance, 0.0]])
    return template, {
        "version": __version__, "revision": job.revision, "name": job.name, "unscaled": False, "tolerance": file.tolerance,
        "plan": np.eye(3), "bounds": [*corners.min(axis=0), *corners.max(axis=0)], **{name: [] for name in NOTHING},
        "walls": {}, "photos": {}, "verdicts": {}, "sigma0": None, "picture_key": "",
        "cautions": [phrase_part(code) for code in CAUTION_CODES],
        "drawn": True, "stone": {**stone, **(trouble or {})} if stone or trouble else None, "shaping": False,
    }
