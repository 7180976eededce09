"""From an accepted quote to the job that the templater opens on site: what was sold, for whom, and where to stand.

The new folder holds nothing that was measured: an estimate is no template. It holds the customer and the shop's usual values in
``job.toml``, the quote as it was accepted, the customer's photos apart from those of the template, and a photo plan for the
sizes that the estimate found.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import numpy as np

from phototemplate.atomic import write_bytes_atomic, write_text_atomic
from phototemplate.errors import InputError, PhototemplateError
from phototemplate.job import JOB_FILE, Job, create_job, load_job, save_job
from phototemplate.job_studies import EstimateWishes, estimate_of
from phototemplate.model import OutlineLoop
from phototemplate.progress import Progress, quiet
from phototemplate.studies.constants import EDGE_TOLERANCE_MM
from phototemplate.studies.estimate import NOT_A_TEMPLATE, Estimate
from phototemplate.studies.plan import Sketch, plan, write_plan
from phototemplate.studies.price_list import price_lists
from phototemplate.studies.quote import assumed_rows, summary_rows
from phototemplate.studies.quote_file import QUOTE_FILE, read_quote_file
from phototemplate.toml_file import write_toml
from phototemplate.units import usual_paper

SOLD = "sold"
"""Folder of what the customer was told, in the templater's job"""


def order_job(
    job: Job, option: int, progress: Progress = quiet, plan_photos: bool = True
) -> tuple[Job, Mapping[str, Path]]:
    """Make the templater's job from option ``option`` (counted from 1) of a quote; the quote is marked as accepted.

    Raises ``InputError`` for an option that was not offered and a folder that is there already, ``OutputError``.
    """
    file = read_quote_file(job.folder / QUOTE_FILE)
    offers = max(len(file.options), 1)
    if not 1 <= option <= offers:
        raise InputError(f"The quote has {offers} option(s); there is no option {option}.")
    folder = job.folder.parent / f"{job.folder.name} template"
    if (folder / JOB_FILE).exists():
        raise InputError(f"{folder} exists already; open it, or move it away before the order is made again.")
    paper = usual_paper()
    listed = price_lists(job.folder)
    wishes = EstimateWishes(prices=listed.get(file.prices), paper=paper)
    accepted = file.model_copy(update={"accepted": option, "options": file.options[option - 1 : option]})
    write_toml(job.folder / QUOTE_FILE, accepted)
    try:
        made, written = estimate_of(job, wishes)
        told = {path.name: path.read_bytes() for path in written.values()}
    finally:
        write_toml(job.folder / QUOTE_FILE, file.model_copy(update={"accepted": option}))
    estimate_of(job, wishes)  # the files of the quote stay those with every option
    progress("estimate", 0.5)
    new = create_job(folder, [], None)
    shop = made.template.spec.shop
    stone = made.price.stone if made.price is not None else shop.material.name
    material = shop.material.model_copy(update={"name": stone})
    new = save_job(new, new.file.model_copy(update={
        "name": f"{job.name} template", "customer": file.customer.name, "address": ", ".join(file.customer.address),
        "units": job.file.units, "shop": shop.model_copy(update={"material": material}),
    }))  # fmt: skip
    sold = folder / SOLD
    sold.mkdir(exist_ok=True)
    for name, data in told.items():
        write_bytes_atomic(sold / name, data)
    for path in job.photo_paths():
        (sold / "customer photos").mkdir(exist_ok=True)
        shutil.copy2(path, sold / "customer photos" / path.name)
    write_toml(sold / QUOTE_FILE, accepted)
    files = {"order": sold / "order.txt"}
    write_text_atomic(files["order"], order_text(made, job.name, file.customer.name, option) + "\n")
    sketch = sketch_of(made)
    if sketch is not None and plan_photos:
        try:
            best, tried = plan(sketch, EDGE_TOLERANCE_MM)
            files["photo-plan"] = write_plan(best, tried, EDGE_TOLERANCE_MM, sold / "photo-plan.pdf", paper)
        except PhototemplateError:
            pass  # a kitchen of another shape is planned by hand
    progress("estimate", 1.0)
    return load_job(folder), files


def order_text(made: Estimate, name: str, customer: str, option: int) -> str:
    """What the templater has to know, one line each."""
    price = made.price
    rows = [("job", name), ("customer", customer), ("accepted", f"option {option}, {date.today().isoformat()}")]
    if price is not None:
        rows += [("stone", price.stone), ("finish of edges", price.finish)]
        rows += [("quoted", f"{price.currency} {price.low:,.0f} to {price.high:,.0f}, likely {price.likely:,.0f}")]
    rows += [*summary_rows(made), *assumed_rows(made)]
    for piece in made.template.pieces:
        rows += [(f"{cut.kind} in {piece.piece_id}", cut.cutout_id) for cut in piece.cutouts]
    edges = [(f"edge {e.edge_id}", f"{e.kind}, about {e.length_mm:.0f} mm in the estimate") for e in made.outline.edges]
    return "\n".join([NOT_A_TEMPLATE, "", *(f"{what}: {value}" for what, value in [*rows, *edges] if value)])


def sketch_of(made: Estimate) -> Sketch | None:
    """Runs and depth for the photo plan from the estimated outline: straight, L or U; None for another shape."""
    loops: list[OutlineLoop] = [x for x in made.outline.loops if x.closed]
    if len(loops) != 1 or len(loops[0].corners_mm) not in (4, 6, 8):
        return None
    corners = np.asarray(loops[0].corners_mm)
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    along = (np.roll(corners, -1, axis=0) - corners)[int(np.argmax(sides))] / sides.max()
    across = np.array([-along[1], along[0]])
    wide, high = float(np.ptp(corners @ along)), float(np.ptp(corners @ across))
    runs = {4: (wide,), 6: (wide, high), 8: (wide, high, high)}[len(corners)]
    return Sketch(runs, min(high, float(sides.min())) if len(corners) == 4 else float(sides.min()))
