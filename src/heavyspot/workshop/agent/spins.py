"""The spins on an agent's own disk, until the server has them and a while longer.

Each is a few files of one name: ``.wav`` and ``.json`` as at the bench; ``.spin``, whose it is and when it began;
``.going``, what was begun to be sent, so that it goes on over a restart with the same bytes; ``.sent``, the
server's proof. All but the samples are small and written whole or not at all.
"""

from __future__ import annotations

import hashlib
import json
import time
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TypeVar

from ...quantities.durable import make_folder, remove, sync_file, write_text
from ...quantities.errors import BadInput, LedgerFault, NotThere
from ..stored import stored
from ..taking.disk_first import has_samples

T = TypeVar("T")

SETTLED_S = 5.0
"""A file that did not change for so long is whole: the process that wrote it is gone (ours)."""

ENDINGS = (".wav", ".json", ".about", ".spin", ".going", ".sent", ".refused")


@dataclass(frozen=True)
class Whose:
    """Whose a spin is, and when it began.

    Attributes
    ----------
    serial : str
        Empty while nobody said.
    begun_at : str
        UTC, ISO 8601.
    server_s : bool
        By the server's clock; else by this computer's own, which may be wrong.
    """

    serial: str = ""
    operator: str = ""
    begun_at: str = ""
    server_s: bool = False


@dataclass(frozen=True)
class Going:
    """A spin that is being sent.

    Attributes
    ----------
    place : str
        Where the upload goes on.
    serial : str
        Under which it was begun.
    sidecar : str
        What stands beside the samples, as it is sent.
    sha256 : str
        Of the samples' file.
    size : int
        Of it, bytes.
    """

    place: str
    serial: str
    sidecar: str
    sha256: str
    size: int


@dataclass(frozen=True)
class Sent:
    """The server's proof that it has a spin: the run it became, and the digest of the samples as they lie there."""

    serial: str
    run: str
    number: int
    sha256: str
    at_s: float


@dataclass(frozen=True)
class Spin:
    """A spin on the disk."""

    path: Path
    whose: Whose
    going: Going | None = None
    sent: Sent | None = None
    refused: str = ""

    @property
    def id(self) -> str:
        """Its name."""
        return self.path.stem

    @property
    def size(self) -> int:
        """Bytes of its samples' file."""
        return self.path.stat().st_size


class Spins:
    """The spins in an agent's folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        make_folder(folder)

    def place(self, id_: str) -> Path:
        """Return where a spin's samples are written."""
        return self.folder / f"{id_}.wav"

    def all(self) -> list[Spin]:
        """Return the spins with samples, oldest first."""
        return [self.read(path) for path in sorted(self.folder.glob("*.wav")) if has_samples(path)]

    def read(self, path: Path) -> Spin:
        """Return a spin as it lies on the disk; what is torn beside it counts as not written."""
        refused = path.with_suffix(".refused")
        return Spin(
            path,
            _small(Whose, path.with_suffix(".spin")) or Whose(),
            _small(Going, path.with_suffix(".going")),
            _small(Sent, path.with_suffix(".sent")),
            refused.read_text("utf-8", errors="replace") if refused.exists() else "",
        )

    def waiting(self, *, but: Path | None = None) -> list[Spin]:
        """Return the spins the server has not, oldest first; one that is still written to, `but`, is left out."""
        return [s for s in self.all() if s.sent is None and s.path != but and _settled(s.path)]

    def say(self, path: Path, whose: Whose) -> None:
        """Write down whose a spin is."""
        write_text(path.with_suffix(".spin"), json.dumps(asdict(whose)))

    def belongs(self, id_: str, serial: str) -> Spin:
        """Say afterwards whose a spin is; sent under another serial before, it is begun anew.

        Raises
        ------
        NotThere
            No such spin lies here.
        BadInput
            The server has it already, or no serial is given.
        """
        spin = next((s for s in self.all() if s.id == id_), None)
        if spin is None:
            raise NotThere(f'No spin "{id_}" lies in {self.folder}.', remedy="List them: --spins.")
        if spin.sent is not None:
            raise BadInput(
                f"The server has it already, as run {spin.sent.number} of {spin.sent.serial}.",
                remedy="Correct it there.",
            )
        if not serial.strip():
            raise BadInput("No serial was given.", remedy="Write it like ID=SERIAL.")
        self.say(spin.path, replace(spin.whose, serial=serial.strip()))
        for ending in (".going", ".refused"):
            remove(spin.path.with_suffix(ending))
        return self.read(spin.path)

    def begun(self, spin: Spin, going: Going) -> None:
        """Keep what was begun to be sent; its samples are on the disk, whatever the end of their writer was."""
        sync_file(spin.path)
        write_text(spin.path.with_suffix(".going"), json.dumps(asdict(going)))

    def anew(self, spin: Spin) -> Spin:
        """Forget what was begun: the server does."""
        remove(spin.path.with_suffix(".going"))
        return self.read(spin.path)

    def proved(self, spin: Spin, sent: Sent) -> None:
        """Keep the server's proof."""
        write_text(spin.path.with_suffix(".sent"), json.dumps(asdict(sent)))

    def refuse(self, spin: Spin, words: str) -> None:
        """Keep why the server does not want a spin; it lies here until a person decides."""
        write_text(spin.path.with_suffix(".refused"), words)

    def remove(self, spin: Spin) -> None:
        """Remove a spin; the samples first, so that a stop between leaves no samples without their proof."""
        for ending in ENDINGS:
            remove(spin.path.with_suffix(ending))

    def remove_empty(self, path: Path) -> None:
        """Remove what stands beside samples that never came."""
        if not has_samples(path):
            for ending in ENDINGS:
                remove(path.with_suffix(ending))


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def _settled(path: Path) -> bool:
    """Whether nobody writes to a file any more; a clock that went back makes it wait no longer than a moment."""
    age_s = time.time() - path.stat().st_mtime
    return age_s < -SETTLED_S or age_s >= SETTLED_S


def _small(kind: type[T], path: Path) -> T | None:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        return stored(kind, dict(content), what=path.name)
    except (OSError, ValueError, TypeError, LedgerFault):
        return None
