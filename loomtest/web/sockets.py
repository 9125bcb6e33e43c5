"""The socket of the measuring screen: commands in, changes out, and a beat so that silence is noticed."""

from __future__ import annotations

import asyncio
import json

from starlette.websockets import WebSocket, WebSocketDisconnect

from loomtest.errors import LoomtestError
from loomtest.web.given import json_object
from loomtest.web.hub import Room
from loomtest.web.served import Served

BEAT_S = 0.7  # a screen that hears nothing for three of these says that it has no connection
LONGEST_COMMAND = 4000


async def measuring(socket: WebSocket) -> None:
    """One screen of one loom's sitting."""
    served: Served = socket.app.state.served
    loom = served.place.loom(socket.path_params.get("name"))
    if loom is None:
        await socket.close(1008)
        return
    await socket.accept()
    room = served.hub.room(loom)
    try:
        screen = await room.enter()
    except LoomtestError as error:
        await socket.send_text(json.dumps({"kind": "trouble", "text": str(error), "stays": True}))
        await socket.close(1000)
        return
    sender = asyncio.create_task(_send(socket, screen, served))
    try:
        while True:
            await _hear(await socket.receive_text(), socket, room, screen)
            served.see()
    except (WebSocketDisconnect, RuntimeError):  # it went while something was being sent
        pass
    finally:
        sender.cancel()
        room.leave(screen)


async def _hear(text: str, socket: WebSocket, room: Room, screen: asyncio.Queue[str]) -> None:
    command = json_object(text) if len(text) <= LONGEST_COMMAND else None
    if command is None:
        return
    if command.get("do") == "faces":
        from loomtest.web.faces import prompt_faces

        if room.sitting is not None:
            faces = prompt_faces(room.sitting.harness, str(command.get("from")), str(command.get("to")))
            await socket.send_text(json.dumps({"kind": "faces", **faces}))
        return
    try:
        await room.do(command, screen)
    except LoomtestError as error:
        await socket.send_text(
            json.dumps({"kind": "trouble", "text": str(error), "answers": str(command.get("id", ""))})
        )


async def _send(socket: WebSocket, screen: asyncio.Queue[str], served: Served) -> None:
    while not served.closing:
        try:
            text = await asyncio.wait_for(screen.get(), BEAT_S)
        except TimeoutError:
            text = '{"kind":"beat"}'
        await socket.send_text(text)
    await socket.send_text('{"kind":"closed"}')
    await socket.close(1001)
