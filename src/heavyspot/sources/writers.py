"""Writing recordings: FLAC (24 bit, with sidecar) for the archive; WAV, CSV and UFF 58 for others."""

from __future__ import annotations

import json
import shutil
import warnings
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..quantities import durable
from ..quantities.errors import BadInput, LedgerFault
from .ahead import ahead
from .formats.audio import SoundBlocks, flac_rate
from .recording import Channel, Recording
from .sidecar import describe, load_sidecar, parse_sidecar, sidecar_path

_STEPS_24 = 2**23


def write_recording(recording: Recording, path: str | Path) -> list[str]:
    """Write a recording in the format its suffix names.

    Parameters
    ----------
    recording : Recording
    path : str or Path
        ``.flac``, ``.wav``, ``.csv`` or ``.uff``.

    Returns
    -------
    list of str
        What was lost or changed, in words; empty when nothing was.

    Raises
    ------
    BadInput
        The suffix is none of these, or the file is there already.
    """
    path = Path(path)
    writers = {".flac": write_flac, ".wav": _write_wav, ".csv": _write_csv, ".uff": _write_uff}
    writer = writers.get(path.suffix.lower())
    if writer is None:
        raise BadInput(
            f"{path.name}: cannot write {path.suffix or 'a file without suffix'}.",
            remedy="Write .flac, .wav, .csv or .uff.",
        )
    if path.exists():
        raise BadInput(f"{path} is there already.", remedy="Give another name.")
    if not path.parent.is_dir():
        raise BadInput(f"There is no folder {path.parent}.", remedy="Make it, or name another.")
    return writer(recording, path)


def _write_sidecar(path: Path, content: dict[str, Any]) -> None:
    """Write the description beside `path`; one that is there already must say the same."""
    beside = sidecar_path(path)
    if beside.exists():
        there = load_sidecar(path)
        wanted = parse_sidecar(content, name=beside.name)
        if there is not None and there.as_channels() == wanted.as_channels():
            return
        raise BadInput(
            f"{beside} is there already and describes other channels.",
            remedy="Write to another folder or name.",
        )
    durable.write_text(beside, json.dumps(content, indent=1, ensure_ascii=False) + "\n")


def write_flac(recording: Recording, path: Path) -> list[str]:
    """Write FLAC and its sidecar; exact for sources of up to 24 bits, and no finer than they were.

    The file appears under its name only when it is complete and on disk.

    Raises
    ------
    LedgerFault
        The disk refuses; nothing is left of it.
    """
    return _write_sound(recording, path, "FLAC", flac_rate(recording.sample_rate_hz))


def _write_wav(recording: Recording, path: Path) -> list[str]:
    return _write_sound(recording, path, "WAV", round(recording.sample_rate_hz))


def _write_sound(recording: Recording, path: Path, kind: str, rate: int) -> list[str]:
    whole = 0 < recording.bits <= 24
    subtype = "PCM_16" if 0 < recording.bits <= 16 else "PCM_24"
    scale = np.ones(len(recording.channels)) if whole else _largest(recording)
    channels = tuple(
        replace(c, full_scale=c.full_scale * float(s))
        for c, s in zip(recording.channels, scale, strict=True)
    )
    notes = [] if whole else ["Samples were rounded to 24 bits of the largest value."]
    unfinished = durable.aside(path)
    try:
        if kind == "FLAC" and (as_it_is := _whole_flac(recording, rate)):
            shutil.copyfile(as_it_is, unfinished)
        else:
            _encode(recording, unfinished, rate, f"{kind} {subtype}", None if whole else scale)
        durable.sync_file(unfinished)
    except (OSError, RuntimeError) as fault:  # libsndfile's own is a RuntimeError
        durable.remove(unfinished)
        raise LedgerFault(
            f"{path.name} cannot be written ({fault}).", remedy="Make room on the disk, then again."
        ) from None
    content = describe(
        channels,
        sample_rate_hz=recording.sample_rate_hz,
        rotation=recording.rotation,
        recorded_at=recording.recorded_at,
        rig=recording.rig,
        operator=recording.operator,
        oil=(recording.oil_temperature_c, recording.oil_pressure_kpa),
        lost_samples=recording.lost_samples,
    )
    if rate != recording.sample_rate_hz:
        notes.append(
            f"{kind} cannot hold {recording.sample_rate_hz:.10g} Hz: the sound file says {rate} Hz, "
            "its sidecar the true rate."
        )
    _write_sidecar(path, content)
    durable.put(unfinished, path)
    return notes


def _whole_flac(recording: Recording, rate: int) -> Path | None:
    """Return the FLAC file whose samples a recording is, unchanged; None where it is anything else."""
    opener = recording.opener
    if not isinstance(opener, SoundBlocks) or opener.path.suffix != ".flac":
        return None
    same = recording.bits in (16, 24) and opener.rate_hz in (rate, recording.sample_rate_hz)
    return opener.path if same else None


def _encode(
    recording: Recording, path: Path, rate: int, form: str, scale: NDArray[np.float64] | None
) -> None:
    import soundfile

    factor = None if scale is None else (1.0 / scale).astype(np.float32)
    count = len(recording.channels)
    kind, subtype = form.split()
    with soundfile.SoundFile(
        path, "w", samplerate=rate, channels=count, format=kind, subtype=subtype
    ) as file:
        for block in ahead(recording.blocks()):
            data = block.data if factor is None else block.data * factor
            # float32 holds every 24-bit step; libsndfile would scale by 2^23 - 1
            steps = np.clip(np.rint(data * np.float32(_STEPS_24)), -_STEPS_24, _STEPS_24 - 1)
            file.write(np.left_shift(steps.astype(np.int32), 8))


def _largest(recording: Recording) -> NDArray[np.float64]:
    largest = np.zeros(len(recording.channels))
    for block in recording.blocks():
        np.maximum(largest, np.abs(block.data).max(axis=0, initial=0.0), out=largest)
    return np.where(largest > 0, largest * (1 + 2.0**-22), 1.0)


def _write_csv(recording: Recording, path: Path) -> list[str]:
    content = describe(
        tuple(replace(c, full_scale=1.0) for c in recording.channels),
        sample_rate_hz=recording.sample_rate_hz,
        rotation=recording.rotation,
        recorded_at=recording.recorded_at,
        rig=recording.rig,
    )
    scale = np.array([c.full_scale for c in recording.channels])
    names = ["time [s]", *(f"{c.name} [{c.unit}]".replace(",", " ") for c in recording.channels)]
    with durable.writing(path, encoding="utf-8", newline="\n") as file:
        file.write("# heavyspot " + json.dumps(content, ensure_ascii=False) + "\n")
        file.write(",".join(names) + "\n")
        for block in recording.blocks(65_536):
            n = block.data.shape[0]
            time = (block.first_sample + np.arange(n)) / recording.sample_rate_hz
            table = np.column_stack([time, block.data * scale])
            np.savetxt(file, table, delimiter=",", fmt=["%.9f"] + ["%.8g"] * len(scale))
    return []


def _write_uff(recording: Recording, path: Path) -> list[str]:
    import pyuff

    data = np.concatenate([b.data for b in recording.blocks()]).astype(np.float64)
    data *= np.array([c.full_scale for c in recording.channels])
    time = np.arange(data.shape[0]) / recording.sample_rate_hz
    file = pyuff.UFF(str(path))
    for i, channel in enumerate(recording.channels):
        _write_set(
            file,
            {
                "type": 58,
                "binary": 1,
                "id1": channel.name[:80],
                "func_type": 1,
                "rsp_node": i + 1,
                "rsp_dir": 1,
                "ref_node": 0,
                "ref_dir": 0,
                "data": data[:, i],
                "x": time,
                "abscissa_spacing": 1,
                "abscissa_inc": 1 / recording.sample_rate_hz,
                "abscissa_spec_data_type": 17,
                "abscissa_axis_lab": "Time",
                "abscissa_axis_units_lab": "s",
                "ordinate_spec_data_type": 12 if channel.unit in ("g", "m/s²") else 0,
                "ordinate_axis_lab": channel.quantity[:20],
                "ordinate_axis_units_lab": _ascii_unit(channel),
                "orddenom_spec_data_type": 0,
                "z_axis_spec_data_type": 0,
            },
        )
    content = describe(
        tuple(replace(c, full_scale=1.0) for c in recording.channels),
        sample_rate_hz=recording.sample_rate_hz,
        rotation=recording.rotation,
        recorded_at=recording.recorded_at,
        rig=recording.rig,
    )
    _write_sidecar(path, content)
    return []


def _write_set(file: Any, content: dict[str, Any]) -> None:
    with warnings.catch_warnings():
        # pyuff leaves its file object to the collector, which closes it at once and warns
        warnings.simplefilter("ignore", ResourceWarning)
        file.write_sets(content, "add")


def _ascii_unit(channel: Channel) -> str:
    return channel.unit.replace("²", "^2").encode("ascii", "replace").decode()
