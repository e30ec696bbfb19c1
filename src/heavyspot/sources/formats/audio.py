"""WAV (RIFF and RIFX), W64, AIFF and FLAC, 8 to 32 bit or floating point, with a sidecar."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import BadInput, UnreadableFile
from ..readers import described
from ..recording import Channel, Recording
from ..sidecar import Sidecar

_BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}


@dataclass(frozen=True)
class SoundBlocks:
    """Opens a sound file's samples in blocks; whoever holds it knows which file they are, unchanged."""

    path: Path
    rate_hz: float = 0.0
    """As the file itself says."""

    def __call__(self, size: int) -> Iterator[NDArray[np.float32]]:
        """Yield blocks of (size, channels), the last one shorter."""
        import soundfile

        try:
            with soundfile.SoundFile(self.path) as file:
                while True:
                    data = file.read(size, dtype="float32", always_2d=True)
                    if data.shape[0] == 0:
                        return
                    yield data
        except soundfile.LibsndfileError as fault:
            raise UnreadableFile(
                f"{self.path.name} is damaged: {fault.error_string}",
                remedy="Copy the file again from the rig, or spin again.",
            ) from None


class AudioReader:
    """Reads what libsndfile reads of WAV, RIFX, W64, RF64, AIFF and FLAC."""

    name = "audio"
    suffixes = (".wav", ".flac", ".w64", ".aif", ".aiff", ".aifc")

    def recognise(self, head: bytes, name: str) -> bool:
        """Each begins with fixed letters."""
        kind = head[8:12]
        return (
            head[:4] in (b"fLaC", b"RF64", b"riff")
            or (head[:4] in (b"RIFF", b"RIFX") and kind == b"WAVE")
            or (head[:4] == b"FORM" and kind in (b"AIFF", b"AIFC"))
        )

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; without a sidecar its channels have no unit."""
        import soundfile

        _refuse_short(path)
        try:
            with soundfile.SoundFile(path) as file:
                rate, frames, count = file.samplerate, file.frames, file.channels
                bits = _BITS.get(file.subtype, 0)
        except soundfile.LibsndfileError as fault:
            raise UnreadableFile(
                f"{path.name} cannot be decoded: {fault.error_string}",
                remedy="Copy the file again from the rig, or export it as WAV or FLAC.",
            ) from None

        recording = Recording(
            channels=tuple(Channel(f"channel {i + 1}") for i in range(count)),
            sample_rate_hz=_true_rate(rate, sidecar, path.suffix.lower()),
            n_samples=frames,
            opener=SoundBlocks(path, float(rate)),
            bits=bits,
            path=path,
        )
        return described(recording, sidecar, rate_may_differ=False)


def _true_rate(rate: int, sidecar: Sidecar | None, suffix: str) -> float:
    """Return the sidecar's rate where the file could only hold it rounded, else the file's."""
    true = sidecar.sample_rate_hz if sidecar else None
    if true is None:
        return float(rate)
    held = flac_rate(true) if suffix == ".flac" and 1 <= true <= 655_350 else round(true)
    return true if rate == held else float(rate)


def flac_rate(rate_hz: float) -> int:
    """Return the nearest rate FLAC can hold: whole; above 65,535 Hz a multiple of 10; <= 655,350."""
    rate = round(rate_hz)
    if rate > 65_535:
        rate = round(rate / 10) * 10
    if not 1 <= rate <= 655_350:
        raise BadInput(
            f"FLAC cannot hold {rate_hz:g} samples a second.", remedy="Keep the file as it is."
        )
    return rate


def _refuse_short(path: Path) -> None:
    """Raise when the header of a RIFF, RIFX or AIFF file promises more samples than the file holds.

    A recorder that was killed leaves 0 or the largest number there; such a file is read to its end.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        outer = file.read(12)[:4]
        if outer not in (b"RIFF", b"RIFX", b"FORM"):
            return
        order = "<" if outer == b"RIFF" else ">"
        samples = b"SSND" if outer == b"FORM" else b"data"
        while len(chunk := file.read(8)) == 8:
            kind, length = struct.unpack(f"{order}4sI", chunk)
            if kind == samples:
                there = size - file.tell()
                if length not in (0, 0xFFFFFFFF) and length > there:
                    raise UnreadableFile(
                        f"{path.name} is cut short: {length} bytes of samples promised, {there} found.",
                        remedy="Copy the file again from the rig, or spin again.",
                    )
                return
            file.seek(length + (length & 1), 1)
