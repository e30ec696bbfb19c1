"""WAV, W64 and FLAC, 16 to 32 bit or floating point, with a sidecar."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..quantities.errors import UnreadableFile
from .readers import described
from .recording import Channel, Recording
from .sidecar import Sidecar

_BITS = {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}


@dataclass(frozen=True)
class SoundBlocks:
    """Opens a sound file's samples in blocks; whoever holds it knows which file they are, unchanged."""

    path: Path

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
    """Reads what libsndfile reads of WAV, W64, RF64 and FLAC."""

    name = "audio"
    suffixes = (".wav", ".flac", ".w64")

    def recognise(self, head: bytes, name: str) -> bool:
        """WAV, RF64, W64 and FLAC begin with fixed letters."""
        return head[:4] in (b"fLaC", b"RF64", b"riff") or (
            head[:4] == b"RIFF" and head[8:12] == b"WAVE"
        )

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; without a sidecar its channels have no unit."""
        import soundfile

        _refuse_short_wav(path)
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
            sample_rate_hz=float(rate),
            n_samples=frames,
            opener=SoundBlocks(path),
            bits=bits,
            path=path,
        )
        return described(recording, sidecar, rate_may_differ=False)


def _refuse_short_wav(path: Path) -> None:
    """Raise when a WAV's header promises more samples than the file holds.

    A recorder that was killed leaves 0 or the largest number there; such a file is read to its end.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] != b"RIFF":
            return
        while len(chunk := file.read(8)) == 8:
            kind, length = struct.unpack("<4sI", chunk)
            if kind == b"data":
                there = size - file.tell()
                if length not in (0, 0xFFFFFFFF) and length > there:
                    raise UnreadableFile(
                        f"{path.name} is cut short: {length} bytes of samples promised, {there} found.",
                        remedy="Copy the file again from the rig, or spin again.",
                    )
                return
            file.seek(length + (length & 1), 1)
