"""HTTP of the test server: a thread with its own loop, long polls, bodies of every kind, cut connections."""

from __future__ import annotations

import asyncio
import json
import threading
import time
import traceback
from collections.abc import Mapping
from contextlib import suppress
from typing import Any, Self

from aiohttp import BodyPartReader, web

from tests.channels import telegram_rules
from tests.channels.telegram_hook import Hook
from tests.channels.telegram_methods import Answers, Asked, Refusal
from tests.channels.telegram_queue import Update
from tests.channels.telegram_rules import Upload
from tests.channels.telegram_troubles import Call, Trouble, Troubles
from tests.channels.telegram_world import Json, World

LONGEST_POLL = 50  # seconds, whatever the bot asks for
BIGGEST = 55 * 2**20
CONFLICT = "terminated by other getUpdates request; make sure that only one bot instance is running"
HOOKED = "can't use getUpdates method while webhook is active; use deleteWebhook to delete the webhook first"
CUT = object()  # no answer, the connection is gone


class Poll:
    """One getUpdates that waits."""

    def __init__(self) -> None:
        self.event = asyncio.Event()
        self.ended: Refusal | None = None


class Batch:
    """Updates for one answer, each as it was first written."""

    def __init__(self, updates: list[Update]) -> None:
        self.updates = updates

    @property
    def text(self) -> str:
        return "[" + ",".join(update.text for update in self.updates) + "]"


class Wire:
    """The HTTP side: it serves, keeps and checks every request, and answers by the world."""

    def __init__(self, world: World, token: str, checking: bool, port: int) -> None:
        self.world, self.token, self.checking, self.port = world, token, checking, port
        self.answers = Answers(self.world)
        self.troubles = Troubles()
        self.calls: list[Call] = []
        self.faults: list[str] = []
        self.warnings: list[str] = []
        self.revoked = False
        self._busy = 0
        self._poll: Poll | None = None
        self._thread: threading.Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None

    # --- its life -------------------------------------------------------------------------------

    def start(self) -> Self:
        """Serve. Raises when the port is taken."""
        if self.checking:
            telegram_rules.models()  # seconds, once: not while a bot waits for its first answer
            telegram_rules.update_kinds()
        ready = threading.Event()
        self._failed: BaseException | None = None
        self._thread = threading.Thread(target=self._run, args=(ready,), name="telegram server", daemon=True)
        self._thread.start()
        ready.wait(20)
        if self._failed or not self._loop:
            raise RuntimeError("the test server did not start") from self._failed
        return self

    def stop(self) -> None:
        """Close every connection and the port; what is known is kept for the next start."""
        if self._loop and self._thread:
            self._loop.call_soon_threadsafe(self._stopping.set)
            self._thread.join(20)
            assert not self._thread.is_alive(), "the test server did not stop"
        self._loop = self._thread = None

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(self, *error: object) -> None:
        self.stop()

    def _run(self, ready: threading.Event) -> None:
        try:
            asyncio.run(self._serve(ready))
        except BaseException as error:
            self._failed = error
            ready.set()

    async def _serve(self, ready: threading.Event) -> None:
        self._stopping = asyncio.Event()
        old = getattr(self, "hook", None)
        self.hook = Hook(self.world, self.faults)
        if old is not None:
            self.hook.url, self.hook.secret, self.hook.posted = old.url, old.secret, old.posted
        app = web.Application(client_max_size=BIGGEST)
        app.router.add_route("*", "/bot{token}/{method}", self._called)
        app.router.add_get("/file/bot{token}/{path:.+}", self._download)
        runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.2)
        await runner.setup()
        await web.TCPSite(runner, "127.0.0.1", self.port, reuse_address=True).start()
        self.port = runner.addresses[0][1]
        self._loop = asyncio.get_running_loop()
        self.world.on_update = self._wake
        hook = asyncio.create_task(self.hook.run())
        self.hook.wake.set()
        ready.set()
        await self._stopping.wait()
        self.world.on_update = lambda: None
        await self._close(runner, hook)

    async def _close(self, runner: web.AppRunner, hook: asyncio.Task[None]) -> None:
        hook.cancel()
        with suppress(asyncio.CancelledError):
            await hook
        if self._poll:
            self._poll.event.set()
        await runner.cleanup()

    def _wake(self) -> None:
        """News for the bot; called from any thread."""
        if self._loop:
            with suppress(RuntimeError):  # stopping just now
                self._loop.call_soon_threadsafe(self._news)

    def _news(self) -> None:
        self.hook.wake.set()
        if self._poll:
            self._poll.event.set()

    # --- one request ----------------------------------------------------------------------------

    async def _called(self, request: web.Request) -> web.StreamResponse:
        params, files = await read(request)
        method = self._name(request.match_info["method"])
        call = Call(method, params, files, time.monotonic())
        if request.match_info["token"] != self.token or self.revoked:
            call.trouble = "wrong token"
            self._keep(call)
            return self._finish(request, call, 401, {"description": "Unauthorized"})
        self._keep(call)
        self._judge(call)
        busy = method != "getUpdates"
        self._busy += busy
        try:
            outcome = await self._outcome(call)
        finally:
            self._busy -= busy
            if busy:
                self.world.touch()
        return self._respond(request, call, outcome)

    def _name(self, method: str) -> str:
        """The method as the manual spells it: the service does not mind capitals."""
        model = telegram_rules.models().get(method.lower()) if self.checking else None
        return str(model.__api_method__) if model else method

    def _keep(self, call: Call) -> None:
        with self.world.lock:
            self.calls.append(call)
            if call.method != "getUpdates":
                self.world.touch()

    def _judge(self, call: Call) -> None:
        if not self.checking:
            return
        verdict = telegram_rules.check(call.method, call.params, call.files)
        self.faults += [f"{fault} (request {len(self.calls)})" for fault in verdict.faults]
        self.warnings += [f"{warning} (request {len(self.calls)})" for warning in verdict.warnings]

    async def _outcome(self, call: Call) -> Any:
        """The result, or a Refusal, or CUT."""
        if self.troubles.latency:
            await self._sleep(self.troubles.latency)
        trouble = self.troubles.meet(call.method)
        if trouble is None:
            return await self._done(call)
        call.trouble = str(trouble)
        return await self._troubled(call, trouble)

    async def _troubled(self, call: Call, trouble: Trouble) -> Any:
        if trouble.refusal:
            return trouble.refusal
        if trouble.drops:
            if trouble.acts:
                call.result = await self._done(call)
            return CUT
        early = await self._done(call) if trouble.acts else None
        await self._sleep(trouble.seconds)
        return early if trouble.acts else await self._done(call)

    async def _sleep(self, seconds: float) -> None:
        """As long as that, or until the server stops."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self._stopping.wait(), seconds)

    async def _done(self, call: Call) -> Any:
        try:
            asked = Asked.read(call.params, call.files)
            if call.method.lower() == "getupdates":
                return await self._get_updates(asked)
            result = self._hook_method(call.method.lower(), asked)
            return self.answers.answer(call.method, asked) if result is None else result
        except Refusal as refusal:
            if refusal.code == 404:
                self.faults.append(f"{call.method}: the test server does not know this method")
            return refusal
        except Exception:
            self.faults.append(f"the test server itself failed at {call}: {traceback.format_exc()}")
            return Refusal(500, "Internal Server Error")

    def _hook_method(self, method: str, asked: Asked) -> Any:
        with self.world.lock:
            if method == "getwebhookinfo":
                return self.hook.info()
            if method == "deletewebhook" or (method == "setwebhook" and not asked.get("url")):
                return self.hook.delete(asked)
            if method == "setwebhook":
                self._end_poll(Refusal(409, "terminated by setWebhook request"))
                return self.hook.set(asked)
        return None

    def _respond(self, request: web.Request, call: Call, outcome: Any) -> web.StreamResponse:
        if outcome is CUT or self._stopping.is_set():
            return cut_off(request)
        if isinstance(outcome, Refusal):
            more = {"parameters": outcome.parameters} if outcome.parameters else {}
            return self._finish(request, call, outcome.code, {"description": outcome.description, **more})
        call.result = outcome
        return self._finish(request, call, 200, {})

    def _finish(self, request: web.Request, call: Call, status: int, error: Json) -> web.StreamResponse:
        call.status = status
        if status != 200:
            call.result = error
            return web.json_response({"ok": False, "error_code": status, **error}, status=status)
        if isinstance(call.result, Batch):
            body = call.result.text
            call.result = call.result.updates
        else:
            body = json.dumps(call.result, ensure_ascii=False)
        return web.Response(text='{"ok":true,"result":' + body + "}", content_type="application/json")

    # --- getUpdates -----------------------------------------------------------------------------

    async def _get_updates(self, asked: Asked) -> Any:
        if self.hook.url:
            raise Refusal(409, HOOKED)
        self._end_poll(Refusal(409, CONFLICT))
        poll = self._poll = Poll()
        self.world.updates.allow(asked.get("allowed_updates"))
        until = time.monotonic() + min(asked.whole("timeout"), LONGEST_POLL)
        offset, limit = asked.whole("offset"), min(max(asked.whole("limit", 100), 1), 100)
        try:
            return await self._wait_for_updates(poll, offset, limit, until)
        finally:
            if self._poll is poll:
                self._poll = None

    async def _wait_for_updates(self, poll: Poll, offset: int, limit: int, until: float) -> Any:
        while True:
            if poll.ended:
                raise poll.ended
            poll.event.clear()
            batch = self._batch(offset, limit)
            left = until - time.monotonic()
            if batch.updates or left <= 0 or self._stopping.is_set():
                return batch
            offset = max(offset, 0)  # a place from the end counts once
            with suppress(TimeoutError):
                await asyncio.wait_for(poll.event.wait(), left)

    def _batch(self, offset: int, limit: int) -> Batch:
        with self.world.lock:
            before = len(self.world.updates.waiting)
            self.world.updates.confirm(offset, self.world.now())
            given = self.world.updates.hand_out(limit)
            if given or len(self.world.updates.waiting) != before:
                self.world.touch()
            return Batch(given)

    def _end_poll(self, why: Refusal) -> None:
        if self._poll:
            self._poll.ended = why
            self._poll.event.set()

    # --- downloads ------------------------------------------------------------------------------

    async def _download(self, request: web.Request) -> web.StreamResponse:
        call = Call("file", {"path": request.match_info["path"]}, {}, time.monotonic())
        self._keep(call)
        if request.match_info["token"] != self.token or self.revoked:
            return self._finish(request, call, 401, {"description": "Unauthorized"})
        if self.troubles.latency:
            await self._sleep(self.troubles.latency)
        trouble = self.troubles.meet("file")
        if trouble:
            call.trouble = str(trouble)
            await self._sleep(trouble.seconds)
        if trouble and (trouble.drops or trouble.refusal):
            return self._respond(request, call, trouble.refusal or CUT)
        stored = next((f for f in self.world.files.values() if f.path == call.params["path"]), None)
        if stored is None:
            return self._finish(request, call, 404, {"description": "Not Found"})
        call.status = 200
        self.world.touch()
        return web.Response(body=stored.data, content_type="application/octet-stream")


def cut_off(request: web.Request) -> web.StreamResponse:
    """End the connection without a word."""
    if request.transport:
        request.transport.abort()
    return web.Response()


async def read(request: web.Request) -> tuple[Json, Mapping[str, Upload]]:
    """Fields and files of a request: from its address, a form, a form with files, or JSON."""
    params: Json = dict(request.query)
    files: dict[str, Upload] = {}
    if request.content_type == "application/json" and request.can_read_body:
        body = await request.json()
        params |= {k: v for k, v in body.items() if v is not None} if isinstance(body, dict) else {}
    elif request.content_type == "multipart/form-data":
        async for part in await request.multipart():
            if not isinstance(part, BodyPartReader) or not part.name:
                continue
            if part.filename is None:
                params[part.name] = await part.text()
            else:
                kind = part.headers.get("Content-Type", "application/octet-stream")
                files[part.name] = Upload(part.filename, bytes(await part.read()), kind)
    elif request.can_read_body:
        params |= {k: v for k, v in (await request.post()).items() if isinstance(v, str)}
    return params, files
