"""Threads of the panel: few, so that Stop's thread never waits long for its turn, and separate, so that a long task
never delays a short one."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any


class Threads:
    """`quick`: files. `slow`: what waits for the worker. `sums`: arithmetic, one at a time. `here`, `elsewhere`: the
    hash of a PIN from the screen at the oven and from all others, which takes 16 MiB and a core: one at a time."""

    def __init__(self) -> None:
        self._pools: list[ThreadPoolExecutor] = []
        self.quick, self.slow = self._in(2), self._in(2)
        self.sums, self.here, self.elsewhere = self._in(1), self._in(1), self._in(1)

    def _in(self, count: int) -> Callable[..., Any]:
        pool = ThreadPoolExecutor(count)
        self._pools.append(pool)

        async def run(function: Callable[..., Any], *arguments: Any) -> Any:
            return await asyncio.get_running_loop().run_in_executor(pool, function, *arguments)

        return run

    def close(self) -> None:
        for pool in self._pools:
            pool.shutdown(wait=False, cancel_futures=True)
