"""A job folder on object storage: fetched to this machine, worked on there, and what was made put back as one set.

Such storage has neither locks nor renames. What it has, on every service of today, are lists that hold each object as soon as
it is written. So whoever works writes a *claim* first and lists the folder afterwards: of two who do that at the same time each
sees the other, and both leave. A claim is written anew as long as its owner works; one that is older than ``LEASE_S``, by the
storage's own clock, was left by a machine that broke down. Results are put back with the old manifest gone first and the new
one last: in between there is no set, never a mixture, for a manifest holds the digest of each of its files.

The storage is whatever fsspec knows: ``s3://``, ``gs://``, ``az://`` by the plugin that somebody has installed, ``file://``,
``memory://``.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import secrets
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path, PurePosixPath
from typing import Any

from phototemplate.constants import LEASE_S, MANIFEST
from phototemplate.errors import InputError, InstallationError, JobBusyError, MeasureError, OutputError
from phototemplate.locks import renewed, whoami

CLAIM = ".claim-"
RESULTS = "results"
MARKS = ("ETag", "etag", "md5Hash", "content_md5", "generation", "mtime", "LastModified", "last_modified", "updated", "created")
"""What services call the property by which a changed object is known, the surest first"""


def is_address(text: str) -> bool:
    """Whether this is an address of storage and not a path."""
    return "://" in text


@dataclass(frozen=True)
class StoredFolder:
    """A folder at an address such as ``s3://bucket/jobs/smith``."""

    address: str

    def __str__(self) -> str:
        return self.address

    @property
    def name(self) -> str:
        """The last part of its address."""
        return self.address.rstrip("/").rsplit("/", 1)[-1]

    def fingerprint(self) -> str:
        """Changes when a file that was not made by the program changes. Raises ``InputError`` where there is none."""
        storage, root = _storage(self.address)
        found = _inputs(storage, root)
        if not found:
            raise InputError(f"There is nothing at {self.address}; check the address and who may read there.")
        return hashlib.sha256("\n".join(f"{k} {_mark(v)}" for k, v in sorted(found.items())).encode()).hexdigest()[:24]

    def read(self, name: str) -> bytes:
        """A file of the folder. Raises ``OSError`` where it cannot be read."""
        storage, root = _storage(self.address)
        return bytes(storage.cat_file(f"{root}/{name}"))

    @contextlib.contextmanager
    def here(self) -> Iterator[Path]:
        """The folder on this machine, for as long as the block runs; its results are then put back.

        Also where the block ends in a ``MeasureError``: results that are no longer true are taken away then.
        Raises ``JobBusyError`` where somebody else works on it, ``InputError`` and ``OutputError`` where the storage refuses.
        """
        storage, root = _storage(self.address)
        with _claimed(storage, root, self.address) as claim, tempfile.TemporaryDirectory(prefix="phototemplate-") as place:
            folder = Path(place) / self.name
            with _sentence(self.address):
                _fetch(storage, root, folder)
            try:
                yield folder
            except MeasureError:
                _put_back(storage, root, folder / RESULTS, claim, self.address)
                raise
            _put_back(storage, root, folder / RESULTS, claim, self.address)


def folder_at(word: str) -> Path | StoredFolder:
    """A folder by its path or address."""
    return StoredFolder(word.rstrip("/")) if is_address(word) else Path(word)


def folders_at(words: Sequence[str]) -> list[Path | StoredFolder]:
    """Each folder once; stars in an address, which no shell resolves, stand for any name."""
    out: list[Path | StoredFolder] = []
    for word in words:
        if is_address(word) and ("*" in word or "?" in word):
            storage, pattern = _storage(word)
            with _sentence(word):
                out += [StoredFolder(storage.unstrip_protocol(p)) for p in sorted(storage.glob(pattern)) if storage.isdir(p)]
        else:
            place = folder_at(word)
            out.append(place.resolve() if isinstance(place, Path) else place)
    return list(dict.fromkeys(out))


@contextlib.contextmanager
def opened(folder: Path | StoredFolder) -> Iterator[Path]:
    """The folder where programs find its files, wherever it lies."""
    if isinstance(folder, Path):
        yield folder
    else:
        with folder.here() as path:
            yield path


def where_they_are(folder: Path | StoredFolder, results: Mapping[str, Path]) -> dict[str, str]:
    """Paths or addresses of results, by the names that they had while the folder was here."""
    return {k: str(p) if isinstance(folder, Path) else f"{folder}/{RESULTS}/{p.name}" for k, p in results.items()}


# -------------------------------------------------------------------------------------------------- the storage


def _storage(address: str) -> tuple[Any, str]:
    """fsspec's file system and the path in it."""
    try:
        core = import_module("fsspec.core")
    except ImportError as exc:
        raise InstallationError(
            f"{address} is an address of storage; install what reads it with: pip install 'phototemplate[storage]'."
        ) from exc
    try:
        storage, root = core.url_to_fs(address)
    except ImportError as exc:  # fsspec names the package
        raise InstallationError(f"{address} cannot be reached ({str(exc).rstrip('.')}); install that package.") from exc
    except (ValueError, OSError) as exc:
        raise InputError(f"{address} is no address that can be read ({exc}); check it.") from exc
    return storage, root.rstrip("/")


@contextlib.contextmanager
def _sentence(address: str) -> Iterator[None]:
    """What a service refuses, in one sentence."""
    try:
        yield
    except FileNotFoundError as exc:
        raise InputError(f"{address} has lost a file while it was read ({exc}); try again.") from exc
    except (OutputError, InputError):
        raise
    except OSError as exc:
        reason = exc.strerror or exc
        raise OutputError(f"{address} refused ({reason}); check who may read and write there, then try again.") from exc


def _inputs(storage: Any, root: str) -> dict[str, dict[str, Any]]:
    """Files of the folder that the program did not make: name within it -> what the service says of them.

    Raises ``InputError`` for names that would lead out of the folder.
    """
    storage.invalidate_cache(root)
    found = {}
    for path, facts in storage.find(root, detail=True).items():
        name = path[len(root) :].lstrip("/")
        parts = PurePosixPath(name).parts
        if not path.startswith(f"{root}/") or ".." in parts or "\\" in name or ":" in name:
            raise InputError(f"{path} has a name that no file of a job may have; rename it.")
        if not parts[0].startswith(".") and parts[0] != RESULTS and facts.get("type") == "file":
            found[name] = facts
    return found


def _mark(facts: dict[str, Any]) -> str:
    return f"{facts.get('size')} {next((facts[k] for k in MARKS if facts.get(k)), '')}"


def _fetch(storage: Any, root: str, folder: Path) -> None:
    folder.mkdir()
    for name in _inputs(storage, root):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        storage.get_file(f"{root}/{name}", str(folder / name))


def _put_back(storage: Any, root: str, made: Path, claim: _Claim, address: str) -> None:
    """The manifest goes first and comes last; files of the earlier set that are none of the new one go."""
    place = f"{root}/{RESULTS}"
    new = {p.name: p for p in made.iterdir() if p.is_file() and not p.name.startswith(".")} if made.is_dir() else {}
    manifest = new.pop(MANIFEST, None)
    with _sentence(address):
        claim.renew()
        claim.check()
        old: set[str] = set()
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError, AttributeError):
            old = {n for n in json.loads(storage.cat_file(f"{place}/{MANIFEST}"))["files"] if "/" not in n and ".." not in n}
        _remove(storage, f"{place}/{MANIFEST}")
        storage.makedirs(place, exist_ok=True)  # where there are folders
        for name, path in new.items():
            storage.put_file(str(path), f"{place}/{name}")
        for name in sorted(old - set(new)):
            _remove(storage, f"{place}/{name}")
        claim.check()
        if manifest is not None:
            storage.put_file(str(manifest), f"{place}/{MANIFEST}")


def _remove(storage: Any, path: str) -> None:
    with contextlib.suppress(FileNotFoundError):
        storage.rm_file(path)


# --------------------------------------------------------------------------------------------------- the claim


class _Claim:
    """An object that says who works; its age is the storage's word."""

    def __init__(self, storage: Any, root: str, address: str) -> None:
        self._storage, self._address = storage, address
        self.path = f"{root}/{CLAIM}{secrets.token_hex(8)}"
        self._seen: Any = None
        self._lost = False
        self.renew()

    def renew(self) -> None:
        """Write it anew, unless it was taken away or came too late: then the folder may be somebody else's."""
        storage = self._storage
        storage.invalidate_cache(self.path.rsplit("/", 1)[0])
        self._lost |= self._seen is not None and not storage.exists(self.path)
        if self._lost:
            return
        storage.pipe_file(self.path, whoami().encode())
        now = self.when(self.path)
        self._lost |= self._seen is not None and now is not None and (now - self._seen).total_seconds() > LEASE_S
        self._seen = now

    def when(self, path: str) -> Any:
        """When an object was written, as a time; None where the storage does not tell or the object has gone."""
        try:
            return self._storage.modified(path)
        except (NotImplementedError, OSError):
            return None

    def check(self) -> None:
        """Raises ``JobBusyError`` where it no longer holds."""
        if self._lost:
            raise JobBusyError(f"{self._address} was taken over while this machine did not answer; its results are not kept.")

    def refuse_others(self, root: str) -> None:
        """Raises ``JobBusyError`` where another claim holds; clears those that do not."""
        self._storage.invalidate_cache(root)
        for path in self._storage.ls(root, detail=False):
            other = f"{root}/{path.rsplit('/', 1)[-1]}"
            if not other.startswith(f"{root}/{CLAIM}") or other == self.path:
                continue
            written = self.when(other)
            if written is not None and self._seen is not None and (self._seen - written).total_seconds() > LEASE_S:
                _remove(self._storage, other)
                continue
            who = "another program"
            with contextlib.suppress(OSError):
                who = self._storage.cat_file(other)[:200].decode("utf-8", "replace")
            raise JobBusyError(f"{self._address} is being measured by {who}; wait until that is done, then try again.")


@contextlib.contextmanager
def _claimed(storage: Any, root: str, address: str) -> Iterator[_Claim]:
    with _sentence(address):
        if not storage.exists(root):
            raise InputError(f"There is nothing at {address}; check the address and who may read there.")
        claim = _Claim(storage, root, address)
    try:
        with _sentence(address):
            claim.refuse_others(root)
        with renewed(claim.renew):
            yield claim
    finally:
        with contextlib.suppress(OSError):
            _remove(storage, claim.path)
