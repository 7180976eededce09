"""What a customer's photos show: found by the program, corrected by a person, solved anew with every move of a corner."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from phototemplate.constants import ESTIMATE_FILE
from phototemplate.errors import PhototemplateError
from phototemplate.job import load_job
from phototemplate.job_studies import KnownSoFar, known_of_clicks
from phototemplate.model import PhotoMeta
from phototemplate.progress import Progress
from phototemplate.studies.estimate_file import EstimateFile, read_estimate_file, write_estimate_file
from phototemplate.studies.price_list import price_lists, read_price_list
from phototemplate.studies.quote_file import QUOTE_FILE, QuoteFile, read_quote_file
from phototemplate.toml_file import parsed, write_toml
from phototemplate.web.worker_tasks.result_view import plain_json


def begin(memory: Any, tell: Progress, job_folder: str) -> dict[str, Any]:
    """The clicks so far; None where nobody has begun."""
    del memory, tell
    path = Path(job_folder) / ESTIMATE_FILE
    return {"file": _plain(read_estimate_file(path)) if path.is_file() else None}


def propose(memory: Any, tell: Progress, job_folder: str, paper: str) -> dict[str, Any]:
    """Known things and corners found in the job's photos; kept in ``estimate.toml``. What was clicked by hand stays."""
    from phototemplate.studies.customer.proposal import propose_clicks

    photos = _photos(memory, job_folder)
    path = Path(job_folder) / ESTIMATE_FILE
    earlier = read_estimate_file(path) if path.is_file() else EstimateFile(photos=[])
    new = [p for p in photos if p.path.name not in {q.file for q in earlier.photos if q.points or q.known}]
    made = propose_clicks(new, paper, tell, memory.store) if new else None
    file = earlier if made is None else made
    if made is not None and any(q.points or q.known for q in earlier.photos):
        fresh = [q.model_copy(update={"points": {}, "proposed": []}) for q in made.photos]
        kept = [q for q in earlier.photos if q.points or q.known]
        file = earlier.model_copy(update={"photos": [*kept, *fresh]})
    write_estimate_file(path, file)
    return {"file": _plain(file)}


def carry(memory: Any, tell: Progress, job_folder: str, file: dict[str, Any]) -> dict[str, Any]:
    """Corners clicked in some photos looked for in the others."""
    from phototemplate.studies.customer.proposal import carry_over

    del tell
    made = carry_over(_parsed(file), _photos(memory, job_folder), memory.store)
    write_estimate_file(Path(job_folder) / ESTIMATE_FILE, made)
    return {"file": _plain(made)}


def fit(memory: Any, tell: Progress, job_folder: str, file: dict[str, Any], keep: bool = False) -> dict[str, Any]:
    """Sizes with their ranges from the clicks as they are; ``keep`` writes them to ``estimate.toml`` first, also where they do
    not fit together yet."""
    from phototemplate.studies.customer.carried_over import expected

    del tell
    clicks = _parsed(file)
    folder = Path(job_folder)
    if keep:
        write_estimate_file(folder / ESTIMATE_FILE, clicks)
    photos = _photos(memory, job_folder)
    try:
        known = known_of_clicks(load_job(folder).name, clicks, photos, memory.store, memory.shown.get("clicks"))
    except PhototemplateError as exc:
        return {"trouble": str(exc)}
    plan = memory.shown["clicks"] = known.plan
    assert plan is not None
    ids = {p.meta.photo_id: p.meta.path.name for p in plan.problem.photos}
    answer: dict[str, Any] = {
        "trouble": "",
        "expected": {name: expected(plan, i) for i, name in ids.items()},
        "plan": dict(zip(plan.names, plan.xy_mm, strict=True)),
        "worst": [[what, r] for what, r in plan.largest],
        "doubts": clicks.doubts(),
        "assumed": [list(row) for row in clicks.assumed()],
    }
    if clicks.runs:
        answer |= _priced(folder, known)
    return plain_json(answer)  # type: ignore[no-any-return]


def _priced(folder: Path, known: KnownSoFar) -> dict[str, Any]:
    from phototemplate.studies.estimate import estimate
    from phototemplate.studies.pricing import Choice
    from phototemplate.studies.quote import ask_effect, cause_shares, price_words, summary_rows

    asked, listed = read_quote_file(folder / QUOTE_FILE), price_lists(folder)
    shop = read_price_list(listed[asked.prices]) if asked.prices in listed else None
    choice = asked.choices(Choice())[0][1]
    try:
        made = estimate(
            known.outline, known.spec, job=known.name, prices=shop, choice=choice, landmarks=known.landmarks,
            assumed=known.assumed,
        )  # fmt: skip
    except PhototemplateError as exc:
        return {"trouble": str(exc)}
    lengths = [
        {"id": e.edge_id, "kind": e.kind, "length": e.length_mm, "U": e.length_U_mm} for e in known.outline.edges
    ]
    return {
        "rows": [list(row) for row in summary_rows(made)], "price": price_words(made), "edges": lengths,
        "causes": [list(c) for c in cause_shares(made)],
        "ask": "" if made.ask is None else f"{made.ask.sentence} {ask_effect(made)}",
        "area": [made.area.low, made.area.value, made.area.high],
    }


def _photos(memory: Any, job_folder: str) -> Sequence[PhotoMeta]:
    job = load_job(Path(job_folder))
    photos: Sequence[PhotoMeta] = memory.readable(job)
    for meta in photos:
        memory.store.add(meta)
    return photos


def _parsed(file: dict[str, Any]) -> EstimateFile:
    return parsed(file, EstimateFile, "What was clicked")


def _plain(file: EstimateFile) -> dict[str, Any]:
    out: dict[str, Any] = file.model_dump(mode="json", by_alias=True, exclude_defaults=True, exclude_none=True)
    return {"photos": [], "runs": [], "lengths": [], "pieces": [], **out}


def quote(memory: Any, tell: Progress, job_folder: str, quote: dict[str, Any]) -> dict[str, Any]:
    """Keep for whom a quote is and what is offered, as ``quote.toml`` beside the job. Raises
    ``InputError``."""
    del memory, tell
    file = parsed(quote, QuoteFile, "What is offered")
    write_toml(Path(job_folder) / QUOTE_FILE, file)
    return {"quote": file.model_dump(mode="json", exclude_defaults=True, exclude_none=True)}


def make_message(memory: Any, tell: Progress, job_folder: str, paper: str) -> dict[str, Any]:
    """What to write back to the customer, as text and as a picture page."""
    from phototemplate.job_studies import message_of

    del memory, tell
    text, written = message_of(load_job(Path(job_folder)), paper)
    return {"files": {k: str(v) for k, v in written.items()}, "text": text}


def make_order(memory: Any, tell: Progress, job_folder: str, option: int) -> dict[str, Any]:
    """The customer took an option: a job folder for the templater, beside this one."""
    from phototemplate.order import order_job

    del memory
    made, written = order_job(load_job(Path(job_folder)), option, tell)
    return {"files": {k: str(v) for k, v in written.items()}, "folder": made.folder.name}
