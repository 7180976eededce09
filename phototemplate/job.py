"""The one module that knows the job folder: ``job.toml``, ``photos/``, ``results/``.

::

    JOBDIR/
      job.toml      what was decided: known lengths, paper, cabinets, edges, loops, pieces, settings
      photos/       the photos (or directly in JOBDIR)
      results/      everything written; may be deleted and rebuilt from photos + job.toml
      handed-out/   states of the pieces that somebody has in hand, A.json, B.json ...
      history.jsonl what the app changed, for undo and redo

A folder of photos without a ``job.toml`` is a job with every default. Writes are atomic; a job file changed by somebody
else since it was read is never overwritten (:class:`JobFileError`).
"""

from __future__ import annotations

import codecs
import difflib
import hashlib
import shutil
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import tomlkit
from pydantic import Field, model_validator

from phototemplate.atomic import clear_parts, write_text_atomic
from phototemplate.errors import InputError, JobFileError
from phototemplate.locks import held
from phototemplate.model import EdgeHint, EdgeKind, LineName, ShapeKind
from phototemplate.settings import Section, Settings
from phototemplate.template.spec import TemplateSpec
from phototemplate.template.spec_comments import commented_keys
from phototemplate.toml_file import parse_toml
from phototemplate.units import WITH_UNITS, BareNumbers, Length

JOB_FILE = "job.toml"
SAVE_LOCK = ".lock-job"
"""Held while the job file is compared and written"""
HANDED_OUT = "handed-out"
PHOTO_SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".hif")


PositiveMM = Annotated[Length, Field(gt=0)]
Thickness = Annotated[Length, Field(ge=0, le=150)]
"""mm. Paper with its backing, however thick"""
Uncertainty = Annotated[Length, Field(ge=0, le=50)]
"""mm. Of a thickness or height; 0: taken as exact"""
TargetId = Annotated[str, Field(pattern=r"^[A-Z]\d{1,4}[a-z]?$")]
TargetPoint = Annotated[str, Field(pattern=r"^[A-Z]\d{1,4}[a-z]?(:[0-9A-Za-z]+)?$")]
"""A point of a target: ``"S03:7"`` (saddle point 7), ``"S03:A"`` (tape mark A), ``"B01"`` (its only point)."""


LevelName = Annotated[str, Field(min_length=1, max_length=40)]
"""A level of the tops: a name of the job's own, or ``main``, ``raised``, ``lowered`` as they are found"""


class PaperSpec(Section):
    """How the sheets were printed and mounted."""

    thickness_mm: Thickness = 0.1
    """Paper and backing together, for every sheet not named in ``thickness_by_sheet_mm``."""
    thickness_u_mm: Uncertainty = 0.05
    """Standard uncertainty of the thickness, the same for all sheets."""
    lies_on: Literal["cabinet", "board"] | None = None
    """What lies under the sheets, as it was answered: nothing but the cabinet, or a board or card. Absent: nobody was asked,
    and the app proposes no edge."""
    flatness_u_mm: Uncertainty = 0.05
    """Standard uncertainty of one sheet's own height beyond that: it does not lie quite flat, dust lies under it."""
    thickness_by_sheet_mm: dict[TargetId, Thickness] = {}
    """Sheets on another backing."""
    strip_thickness_mm: Thickness | None = None
    """Paper and tape of wall strips; absent: as in ``[settings.edges]``."""
    strip_thickness_u_mm: Uncertainty | None = None
    """Standard uncertainty of the strips' thickness; absent: as in ``[settings.edges]``."""


class MarkerSpec(Section):
    """Plain markers of any OpenCV dictionary used as further targets."""

    dictionary: str
    """Name as in OpenCV, e.g. ``DICT_4X4_100`` or ``DICT_APRILTAG_36h11``."""
    size_mm: Annotated[Length, Field(ge=2, le=2000)]
    """Side of the black square."""
    ids: list[int] | None = None
    """Only these ids; every id where absent."""
    rigid: bool = True
    """False: only the seen corners count, nothing is assumed of the marker's size."""


class LengthSpec(Section):
    """One known length."""

    kind: Literal["bar", "tape", "caliper"]
    from_: TargetPoint = Field(alias="from")
    """First end."""
    to: TargetPoint
    """Second end."""
    value: Annotated[Length, Field(ge=5, le=100_000)]
    """The length as measured."""
    u: Annotated[Length, Field(ge=1e-4, le=1000)] | None = None
    """Its standard uncertainty; absent: 0.3 mm for a bar, 0.8 mm for a tape, 0.05 mm for a calliper (common practice)."""
    temperature_c: Annotated[float, Field(ge=-40, le=60)] | None = None
    """Temperature of the bar or tape when the photos were taken; absent: 20, with the standard
    uncertainty ``[settings.adjustment] thermometer_u_c`` (4 unless set)."""
    material: str = "steel"
    """What the bar or the tape is made of."""


class CabinetSpec(Section):
    """A cabinet and the sheets that lie on it, for the level map."""

    id: str
    sheets: list[TargetId]
    level: LevelName | None = None
    """Level its top lies on, a name of your own, where the tops lie on several; left out, its height tells."""


class EdgeSpec(Section):
    """Where one edge is, roughly, and what it is."""

    id: str
    kind: EdgeKind
    source: Literal["trace", "contact", "strip"] = "trace"
    shape: ShapeKind = "line"
    photo: str | None = None
    """Photo that ``path`` was clicked in (px of the stored picture)."""
    sheet: TargetId | None = None
    """Or: sheet in whose frame ``path`` is given (mm)."""
    path: list[tuple[float, float]] | None = None
    """Two points or more along the edge; anything within ``search`` of the edge will do."""
    targets: list[str] = []
    """Contact sheets or wall strips that carry the edge, in any order; ``"W03"`` means all its pieces."""
    search: Annotated[Length, Field(ge=0.5, le=300)] = 12.0
    """Half width of the band searched."""
    height: Annotated[Length, Field(ge=-3000, le=3000)] = 0.0
    """Expected height over the work plane."""
    choose: Annotated[Length, Field(ge=-300, le=300)] | None = None
    """How earlier jobs say which of two close lines is meant (``line`` says it by name): its offset from the path, positive to
    the left."""
    line: LineName | None = None
    """Which line is meant, and what overhangs count from: ``box``, the edge of the cabinet itself; ``door``, the face of door
    or drawer before it; ``outer`` or ``inner``, the likeliest line beside the one that the program would take. Left out,
    fronts are as the job's own ``line`` says."""
    arris: Annotated[Length, Field(ge=0, le=12)] | None = None
    """Radius of the rounding between top and face where it is known, 0 for a sharp arris; left out, it is measured."""
    level: LevelName | None = None
    """Level of the tops it lies on, where these lie on several; left out, the photos tell."""

    @model_validator(mode="after")
    def _complete(self) -> EdgeSpec:
        if self.source == "trace":
            if (self.photo is None) == (self.sheet is None) or not self.path or len(self.path) < 2:
                raise ValueError("a traced edge needs `path` with two points or more and either `photo` or `sheet`")
        elif not self.targets:
            raise ValueError(f"an edge from source {self.source!r} needs `targets`")
        return self

    def hint(self) -> EdgeHint:
        """The same in the words of the edge stage."""
        return EdgeHint(
            edge_id=self.id,
            kind=self.kind,
            source=self.source,
            shape=self.shape,
            anchor="sheet" if self.sheet else "photo",
            anchor_id=self.sheet or self.photo or "",
            path=None if self.path is None else np.asarray(self.path, float),
            targets=tuple(self.targets),
            search_mm=self.search,
            height_mm=self.height,
            choose=self.choose,
            arris_mm=self.arris,
            level=self.level or "",
            line=self.line,
        )


class LoopSpec(Section):
    """Edges in their order round one run of cabinets."""

    id: str
    edges: list[str]
    closed: bool = True


class PlaceSpec(Section):
    """One end of a distance: a corner of a loop, a place on an edge, or a place that was pointed at."""

    loop: str | None = None
    corner: int = 0
    """Which corner of the loop, counted from 0"""
    edge: str | None = None
    """The distance is taken square to this edge"""
    sheet: TargetId | None = None
    """Sheet in whose frame ``at`` is given"""
    at: tuple[float, float] | None = None
    """mm"""

    @model_validator(mode="after")
    def _one_way(self) -> PlaceSpec:
        if (self.loop is None) == (self.sheet is None or self.at is None):
            raise ValueError("a place needs `loop` and `corner`, or `sheet` and `at`")
        return self


class DistanceSpec(Section):
    """A distance that somebody asked for; it is worked out anew with every measurement."""

    id: str
    a: PlaceSpec
    b: PlaceSpec
    pointing: PositiveMM = 1.0
    """How finely places were pointed at"""


class JobFile(TemplateSpec):
    """Everything the user decided, as ``job.toml`` says it."""

    format: Literal[1, 2] = 2
    """In format 1 a number without a unit was mm whatever the drawing's unit; in 2 it is refused unless ``units = "mm"``."""
    name: str = ""
    units: Literal["mm", "in"] = "in"
    """Unit of the drawing."""
    line: Literal["box", "door"] = "box"
    """What fronts are measured at and their overhangs count from: the edge of the cabinet's box, or the face of its doors"""
    tolerance: Annotated[Length, Field(ge=0.01, le=100)] = 25.4 / 16
    """What an edge has to hold (default 1/16 in)."""
    paper: PaperSpec = PaperSpec()
    markers: list[MarkerSpec] = []
    lengths: list[LengthSpec] = []
    cabinets: list[CabinetSpec] = []
    edges: list[EdgeSpec] = []
    loops: list[LoopSpec] = []
    customer: str = ""
    """For the title block."""
    address: str = ""
    """For the title block."""
    drawn_by: str = ""
    """For the title block."""
    distances: list[DistanceSpec] = []
    """Asked for in the app"""
    leave_out: list[str] = []
    """Photos (file names) not to be used."""
    settings: Settings = Settings()

    def hints(self) -> list[EdgeHint]:
        """All edges in the words of the edge stage."""
        hints = [e.hint() for e in self.edges]
        if self.line == "box":
            return hints
        return [
            replace(h, line=self.line) if (h.kind, h.source, h.line, h.choose) == ("front", "trace", None, None) else h
            for h in hints
        ]

    def template_spec(self) -> TemplateSpec:
        """What the job says of pieces, in the words of the template stage."""
        return TemplateSpec(**{name: getattr(self, name) for name in TemplateSpec.model_fields})

    @model_validator(mode="after")
    def _names_agree(self) -> JobFile:
        ids = [e.id for e in self.edges]
        known = set(ids)
        for twice in sorted(i for i, n in Counter(ids).items() if n > 1):
            raise ValueError(f"two edges are called {twice!r}; give each its own id")
        for loop in self.loops:
            for name in loop.edges:
                if name not in known:
                    near = difflib.get_close_matches(name, ids, 1)
                    raise ValueError(
                        f"loop {loop.id!r} names edge {name!r}, which does not exist"
                        + (f"; did you mean {near[0]!r}?" if near else "")
                    )
        return self


@dataclass(frozen=True)
class Job:
    """A job folder as read at one moment."""

    folder: Path
    file: JobFile
    revision: str
    """Fingerprint of ``job.toml`` when it was read; empty where there was none."""
    bare: tuple[str, ...] = ()
    """Lengths without a unit that a file of format 1 has, read as mm."""

    @property
    def name(self) -> str:
        return self.file.name or self.folder.resolve().name

    @property
    def results(self) -> Path:
        return self.folder / "results"

    def handed_out_paths(self) -> list[Path]:
        """States of the pieces that were handed out, oldest first: A.json, B.json ..."""
        return sorted((self.folder / HANDED_OUT).glob("*.json"), key=lambda p: (len(p.stem), p.stem))

    def photo_paths(self) -> list[Path]:
        """Photos in name order, without those left out."""
        folder = self.folder / "photos" if (self.folder / "photos").is_dir() else self.folder
        left_out = set(self.file.leave_out)
        return sorted(p for p in folder.iterdir() if p.suffix.lower() in PHOTO_SUFFIXES and p.name not in left_out)


def _revision(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


def load_job(folder: Path) -> Job:
    """Read a job folder.

    Raises ``InputError`` when there is no such folder and ``JobFileError`` when ``job.toml`` cannot be understood.
    """
    if not folder.is_dir():
        raise InputError(f"There is no folder {folder}; give the folder that holds the photos.")
    path = folder / JOB_FILE
    if not path.exists():
        return Job(folder, JobFile(), "")
    try:
        data = path.read_bytes()
    except OSError as exc:
        raise JobFileError(f"{path} cannot be read ({exc.strerror}); put a job file there that may be read.") from exc
    bare: list[str] = []
    return Job(folder, parse_job(data, str(path), bare), _revision(data), tuple(bare))


def parse_job(data: bytes, where: str = JOB_FILE, bare: list[str] | None = None, all_mm: bool = False) -> JobFile:
    """Read a job file's text; lengths without a unit that are read as mm are added to ``bare``.

    ``all_mm``: a program wrote it, whose numbers are mm.
    ``JobFileError`` names the place and what to do.
    """

    def numbers(raw: dict[str, Any]) -> BareNumbers | None:
        if raw.get("units") == "mm" or all_mm:
            return None
        return BareNumbers(refused=raw.get("format") != 1, taken=bare if bare is not None else [])

    try:
        return parse_toml(data, where, JobFile, numbers)
    except InputError as exc:
        raise JobFileError(str(exc)) from exc


def save_job(job: Job, file: JobFile) -> Job:
    """Write a changed job file, keeping comments of the tables that did not change.

    Raises ``JobFileError`` when ``job.toml`` was changed by somebody else since ``job`` was read, ``OutputError`` when it
    cannot be written; the old file stays in both cases.
    """
    path = job.folder / JOB_FILE
    with held(job.folder / SAVE_LOCK, wait=True):  # of two that read the same file, the second is told
        clear_parts(path)
        return _save(job, file, path)


def _save(job: Job, file: JobFile, path: Path) -> Job:
    data = path.read_bytes() if path.exists() else b""
    if (_revision(data) if path.exists() else "") != job.revision:
        raise JobFileError(f"{path} was changed elsewhere in the meantime; load it again, then repeat the change.")
    document = tomlkit.parse(data.removeprefix(codecs.BOM_UTF8).decode("utf-8")) if data else tomlkit.document()
    old, new = as_written(job.file), as_written(file)
    document["format"] = file.format
    for key in list(document):
        if key not in new and key != "format":
            del document[key]
    # what "mm" said of numbers without a unit no longer holds where the job changes to inches
    all_anew = file.units != job.file.units
    for key, value in new.items():
        if key not in document or value != old.get(key) or all_anew:
            document[key] = value
    text = tomlkit.dumps(document)
    parse_job(text.encode("utf-8"), str(path))
    write_text_atomic(path, text)
    return Job(job.folder, file, _revision(text.encode("utf-8")), job.bare)


def as_written(file: JobFile) -> dict[str, Any]:
    """The job file as plain data, lengths with their unit, without what is left at its default."""
    out: dict[str, Any] = file.model_dump(mode="json", by_alias=True, exclude_defaults=True, exclude_none=True,
                                          context=WITH_UNITS)
    return out


TEMPLATE = """\
# What was decided about this job. A length is a text with its unit: "39 3/8 in", "1000.2 mm". A number without one is
# taken only where the key's name ends with _mm, or after units = "mm", and is mm.
format = 2
name = {name}
units = "in"             # unit of the drawing: "in" or "mm"
tolerance = "1/16 in"    # what every edge has to hold

[paper]
thickness_mm = 0.1       # paper and backing; a sheet on another backing goes into thickness_by_sheet_mm
thickness_u_mm = 0.05
# thickness_by_sheet_mm = {{ S03 = 3.1 }}

{lengths}
# [[cabinets]]           # for the level map: which sheets lie on which cabinet
# id = "sink base"
# sheets = ["S01", "S02"]
# level = "bar"          # where tops lie on several levels: a name of your own; left out, their heights tell

# [[edges]]              # one table for every edge; the app writes these for you
# id = "front"
# kind = "front"         # front, end, wall, panel, opening, other
# photo = "IMG_0003"     # photo in which the path was clicked, px
# path = [[820, 1510], [3105, 1422]]
# line = "door"          # measured at, and overhang counted from: "box" (unless the job says otherwise) or "door"
# level = "bar"          # where tops lie on several levels and the photos do not tell on which the edge lies

# [[loops]]              # edges in their order round one run
# id = "left run"
# edges = ["front", "end", "back", "left"]

"""


def create_job(folder: Path, photos: list[Path], bar: str | None) -> Job:
    """Make a job folder with a commented job file and copies of the photos.

    Raises ``InputError`` where the folder already holds a job or a photo does not exist.
    """
    if (folder / JOB_FILE).exists():
        raise InputError(f"{folder} already holds a job; choose another folder, or edit {folder / JOB_FILE}.")
    missing = [p for p in photos if not p.is_file()]
    if missing:
        raise InputError(f"There is no photo {missing[0]}; check its name.")
    twice = {p.name for p in photos if [q.name.lower() for q in photos].count(p.name.lower()) > 1}
    if twice:
        raise InputError(f"Two photos are called {min(twice)}; rename one of them.")
    if bar is not None:
        lengths = f'[[lengths]]\nkind = "bar"\nfrom = "B01"\nto = "B02"\nvalue = {tomlkit.string(bar).as_string()}\n'
    else:
        lengths = (
            "# [[lengths]]            # at least one known length, else the shape has no scale\n"
            '# kind = "bar"           # bar, tape or caliper\n# from = "B01"\n# to = "B02"\n'
            '# value = "1000.2 mm"\n# u = "0.3 mm"\n'
        )
    text = TEMPLATE.format(name=tomlkit.string(folder.resolve().name).as_string(), lengths=lengths) + commented_keys()
    parse_job(text.encode("utf-8"), "the new job file")
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    for p in photos:
        shutil.copy2(p, folder / "photos" / p.name)
    write_text_atomic(folder / JOB_FILE, text)
    return load_job(folder)
