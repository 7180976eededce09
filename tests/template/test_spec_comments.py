"""A new job file explains every key of pieces, openings, appliances and shop, and its example is one that works."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from phototemplate.job import JobFile, create_job
from phototemplate.settings import Section
from phototemplate.template import spec
from phototemplate.template.spec import TemplateSpec
from phototemplate.template.spec_comments import EXAMPLE, SHOWN_BELOW, TABLES, commented_keys, field_meanings


def test_every_key_is_explained() -> None:
    ours = [m for m in vars(spec).values() if isinstance(m, type) and m.__module__ == spec.__name__]
    models = {m for m in ours if issubclass(m, Section)}
    assert {model for _, model in TABLES} == models - {TemplateSpec}
    text = commented_keys()
    for _, model in TABLES:
        meanings = field_meanings(model)
        for name in model.model_fields:
            assert name in SHOWN_BELOW or len(meanings[name].split()) >= 2, f"{model.__name__}.{name}"
            key = rf"\[.*\b{name}\b.*\]$" if name in SHOWN_BELOW else rf"  {name}: "
            assert re.search(f"^# {key}", text, re.MULTILINE), f"{model.__name__}.{name}"


def test_a_new_job_file_is_all_comments_beyond_what_every_job_needs(tmp_path: Path) -> None:
    job = create_job(tmp_path / "kitchen", [], "1000.2 mm")
    assert not job.file.pieces
    text = (job.folder / "job.toml").read_text(encoding="utf-8")
    assert commented_keys() in text
    assert max(len(line) for line in text.splitlines()) <= 120


def test_the_example_is_one_that_is_understood() -> None:
    data = tomllib.loads("\n".join(line.removeprefix("#").removeprefix(" ") for line in EXAMPLE.splitlines()
                                   if not line.startswith("# ----")))
    made = TemplateSpec.model_validate(data)
    assert made.pieces[0].cutouts[0].width == 762.0
    assert set(data) <= set(JobFile.model_fields)
