"""Where the page is listened for."""

import asyncio
import socket

import pytest

from swarfline.operate import Occupied, listen


async def test_answers_are_not_held_back():
    door = listen("127.0.0.1", 0)
    delayless = asyncio.get_running_loop().create_future()

    async def answer(_, writer):
        accepted = writer.get_extra_info("socket")
        delayless.set_result(accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
        writer.close()

    async with await asyncio.start_server(answer, sock=door):
        _, writer = await asyncio.open_connection(*door.getsockname())
        assert await delayless != 0
        writer.close()
        await writer.wait_closed()


def test_an_occupied_port_is_said_with_what_to_do():
    with listen("127.0.0.1", 0) as first:
        first.listen()
        port = first.getsockname()[1]
        with pytest.raises(Occupied, match=f"cannot listen on 127.0.0.1 port {port}: .+; end what listens there"):
            listen("127.0.0.1", port)
