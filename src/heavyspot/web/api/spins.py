"""Recordings of a piece by HTTP: a whole one as a form, a large one in parts that go on where they stopped.

The parts are the IETF's draft "Resumable Uploads for HTTP": ``Upload-Complete``, ``Upload-Offset`` and
``Upload-Length``; PATCH with ``application/partial-upload``. What the whole is says the first content type.
"""

from __future__ import annotations

import asyncio
import base64
from collections.abc import AsyncGenerator
from dataclasses import asdict
from email.message import Message
from functools import partial
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, File, Form, Query, Request, Response, UploadFile
from fastapi.responses import JSONResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, Headers
from starlette.datastructures import UploadFile as FormFile
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import ClientDisconnect

from ...quantities.errors import BadInput
from ...sources.sidecar import Stated
from ...workshop.cartridge.received import ReadAlready, digest_of, spin_received
from ...workshop.cartridge.story import cartridge_story
from ...workshop.incoming import Upload, Uploads, Watchers
from ...workshop.incoming.uploads import LARGEST
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..answers.cartridge import RunTold
from ..answers.common import told
from ..answers.other import WatchedTold
from ..contract.problem import HOME, by_status, problem
from ..deps import REFUSALS, Shop, Word

router = APIRouter(
    prefix=HOME, tags=["recordings"], responses=REFUSALS, dependencies=[Depends(allowed)]
)

DRAFT = "8"
"""Interoperability version of the draft."""

MISMATCH = "https://iana.org/assignments/http-problem-types#mismatching-upload-offset"

SYNC_EVERY = 8_000_000
"""Bytes after which a part that is coming is put on the disk."""

Rate = Annotated[float | None, Form(gt=0, allow_inf_nan=False)]


@router.post(
    "/pieces/{serial:path}/spins",
    status_code=201,
    response_model=None,
    responses=told(RunTold, 201, 200),
)
def bring_recording(
    serial: str,
    shop: Shop,
    who: Who,
    response: Response,
    recording: Annotated[UploadFile, File(description="The recording.")],
    sidecar: Annotated[UploadFile | None, File(description="What its channels are.")] = None,
    operator: Annotated[Word, Form()] = "",
    rig: Annotated[Word, Form()] = "",
    format: Annotated[Word, Form()] = "",
    rate: Rate = None,
    time_unit: Annotated[Word, Form()] = "",
    group: Annotated[Word, Form()] = "",
) -> dict[str, object]:
    """Read a recording of a piece, as `spin` does: 201 and what it says; 200 where these bytes were read before."""
    stated = Stated(rate, time_unit or None, group)
    beside = sidecar.file if sidecar is not None and sidecar.filename else None
    try:
        result = spin_received(
            shop, serial, recording.filename or "", recording.file, beside,
            operator=who.signs(operator), rig=rig, format=format or None, stated=stated,
        )  # fmt: skip
    except ReadAlready as before:
        response.status_code = 200
        return _run(shop, serial, before.number)
    return result.as_json()


@router.post(
    "/pieces/{serial:path}/spins/uploads",
    status_code=201,
    response_class=Response,
    responses=told(RunTold, 201, 200),
)
async def begin_upload(
    request: Request,
    serial: str,
    shop: Shop,
    who: Who,
    operator: Annotated[Word, Query()] = "",
    rig: Annotated[Word, Query()] = "",
) -> Response:
    """Begin an upload, with as much of it as comes; `Location` is where it goes on."""
    await run_in_threadpool(cartridge_story, shop, serial)
    length = _whole(request, "upload-length")
    kind = request.headers.get("content-type", "application/octet-stream")
    upload = await run_in_threadpool(
        Uploads(shop).begin, serial, kind, name=_name_of(request), by=who.name, rig=rig,
        operator=who.signs(operator), length=length, sha256=_digest_in(request),
    )  # fmt: skip
    return await _more(request, shop, upload, created=True)


@router.get("/uploads/{id_}", status_code=204, response_class=Response)
@router.head("/uploads/{id_}", status_code=204, include_in_schema=False)
def get_upload(id_: str, shop: Shop, who: Who) -> Response:
    """Return how much of an upload is on the disk: `Upload-Offset`."""
    uploads = Uploads(shop)
    upload = uploads.find(id_, who.name)
    return Response(status_code=204, headers=_state(upload, uploads.offset(upload)))


@router.patch(
    "/uploads/{id_}",
    status_code=204,
    response_class=Response,
    responses=told(RunTold, 201, 200),
)
async def continue_upload(request: Request, id_: str, shop: Shop, who: Who) -> Response:
    """Take more of an upload from `Upload-Offset` on; with `Upload-Complete: ?1` it is read, as `spin` does."""
    if request.headers.get("content-type", "").split(";")[0] != "application/partial-upload":
        raise BadInput(
            "A part has another content type.", remedy="Send application/partial-upload."
        )
    if "upload-complete" not in request.headers:
        raise BadInput("Upload-Complete is missing.", remedy="Send ?0 for a part, ?1 for the last.")
    upload = await run_in_threadpool(Uploads(shop).find, id_, who.name)
    return await _more(request, shop, upload, created=False)


@router.delete("/uploads/{id_}", status_code=204)
def leave_upload(id_: str, shop: Shop, who: Who) -> Response:
    """Remove an upload."""
    uploads = Uploads(shop)
    uploads.remove(uploads.find(id_, who.name))
    return Response(status_code=204)


async def _more(request: Request, shop: Workshop, upload: Upload, *, created: bool) -> Response:
    """Write what comes; read the whole once it is there."""
    uploads = Uploads(shop)
    complete = request.headers.get("upload-complete", "?1").strip() == "?1"
    with uploads.one_at_a_time(upload):
        there = await run_in_threadpool(uploads.offset, upload)
        if not created and (at := _whole(request, "upload-offset")) != there:
            return problem(
                request.scope, 409, "wrong-offset", f"{there} bytes are there; the part begins at {at}.",
                f"Go on at {there}.", headers=_state(upload, there), type=MISMATCH,
                title="offset from request does not match offset of resource",
                **{"expected-offset": there, "provided-offset": at},
            )  # fmt: skip
        whole = await _write(request, uploads, upload)
        there = await run_in_threadpool(uploads.offset, upload)
        if not whole:
            return by_status(request.scope, 408)  # nobody reads it: the line is cut
        if upload.length is not None and complete and there != upload.length:
            raise BadInput(
                f"{there} bytes came; {upload.length} were to come.", remedy="Send the rest."
            )
        if not complete:
            headers = _state(upload, there) | {"Location": f"{HOME}/uploads/{upload.id}"}
            return Response(status_code=201 if created else 204, headers=headers)
        return await _finished(shop, upload, there)


async def _write(request: Request, uploads: Uploads, upload: Upload) -> bool:
    """Write what comes; what came before a line was cut counts too. Return whether all came."""
    waiting, whole = b"", True
    try:
        async for chunk in request.stream():
            waiting += chunk
            if len(waiting) >= SYNC_EVERY:
                await run_in_threadpool(uploads.append, upload, waiting)
                waiting = b""
                await run_in_threadpool(uploads.offset, upload)
    except ClientDisconnect:
        whole = False
    await run_in_threadpool(uploads.append, upload, waiting)
    return whole


async def _finished(shop: Workshop, upload: Upload, length: int) -> Response:
    """Read the whole as if it had come at once; its bytes go only when the ledger has them."""
    uploads = Uploads(shop)
    path = uploads.body(upload)
    await run_in_threadpool(uploads.refuse_other, upload)
    headers = _state(upload, length, complete=True) | {"Location": f"{HOME}/uploads/{upload.id}"}
    form = await _form_of(upload.kind, path)
    try:
        said, status = await run_in_threadpool(_spin, shop, upload, path, form)
    finally:
        if form is not None:
            await form.close()
    await run_in_threadpool(uploads.remove, upload)
    return JSONResponse(said, status, headers)


def _spin(
    shop: Workshop, upload: Upload, path: Path, form: FormData | None
) -> tuple[dict[str, object], int]:
    sha256 = ""  # of the recording as it lies here: what its sender may go by
    read = partial(spin_received, shop, upload.serial, operator=upload.operator, rig=upload.rig)
    try:
        if form is None:
            with path.open("rb") as file:
                sha256 = digest_of(file)
                return read(upload.name, file).as_json() | {"sha256": sha256}, 201
        recording, beside = form.get("recording"), form.get("sidecar")
        if not isinstance(recording, FormFile):
            raise BadInput("The form has no recording.", remedy='Send a file named "recording".')
        sidecar = beside.file if isinstance(beside, FormFile) and beside.filename else None
        sha256 = digest_of(recording.file)
        return read(recording.filename or "", recording.file, sidecar).as_json() | {
            "sha256": sha256
        }, 201
    except ReadAlready as before:
        return _run(shop, upload.serial, before.number) | {"sha256": sha256}, 200


async def _form_of(kind: str, path: Path) -> FormData | None:
    """Return the form that a whole upload is; None where it is the file alone."""
    if not kind.startswith("multipart/form-data"):
        return None

    async def parts() -> AsyncGenerator[bytes, None]:
        with path.open("rb") as file:
            while block := await asyncio.to_thread(file.read, 1 << 20):
                yield block

    try:
        parser = MultiPartParser(Headers({"content-type": kind}), parts(), max_files=2)
        return await parser.parse()
    except MultiPartException as fault:
        raise BadInput(f"The form is damaged ({fault.message}).", remedy="Send it again.") from None


def _run(shop: Workshop, serial: str, number: int) -> dict[str, object]:
    kept = next(r for r in cartridge_story(shop, serial).runs if r.number == number)
    return {"serial": serial, "read_before": True, **kept.as_json()}


def _state(upload: Upload, offset: int, *, complete: bool = False) -> dict[str, str]:
    headers = {
        "Upload-Draft-Interop-Version": DRAFT,
        "Upload-Complete": "?1" if complete else "?0",
        "Upload-Offset": str(offset),
        "Upload-Limit": f"max-size={LARGEST}",
        "Cache-Control": "no-store",
    }
    return headers | ({"Upload-Length": str(upload.length)} if upload.length is not None else {})


def _whole(request: Request, header: str) -> int | None:
    said = request.headers.get(header, "").strip()
    if not said:
        return None
    if not said.isascii() or not said.isdigit() or len(said) > 15:
        raise BadInput(f"{header} is {said!r}.", remedy="Give whole bytes.")
    return int(said)


def _digest_in(request: Request) -> str:
    """Return the SHA-256 of the whole from Repr-Digest (RFC 9530), hexadecimal; empty where none is given."""
    for said in request.headers.get("repr-digest", "").split(","):
        name, _, value = said.strip().partition("=")
        if name == "sha-256":
            try:
                digest = base64.b64decode(value.strip(":"), validate=True)
            except ValueError:
                digest = b""
            if len(digest) != 32 or not value.startswith(":"):
                raise BadInput("Repr-Digest is none.", remedy="Write it like sha-256=:BASE64:.")
            return digest.hex()
    return ""


def _name_of(request: Request) -> str:
    """Return the file's name from Content-Disposition (RFC 6266); empty where none is given."""
    message = Message()
    message.add_header("content-disposition", request.headers.get("content-disposition", ""))
    return message.get_filename() or ""


@router.get("/watched", response_model=None, responses=told(WatchedTold))
def list_watched(request: Request) -> dict[str, object]:
    """Return what lies in the watched folders and was not taken, and why."""
    watchers: Watchers = request.app.state.watchers
    return {
        "folders": [
            {
                "rig": f.rig.name,
                "fault": watchers.faults.get(f.rig.name, ""),
                "files": [asdict(look) for look in watchers.newest.get(f.rig.name, [])],
            }
            for f in watchers.folders
        ]
    }
