"""The pace of a channel, as its other side counts it."""

import asyncio
import random

import pytest

from bot.channels.turnstile import UNEVEN_S, Turnstile


class Watch:
    """A clock on which sleeping takes no time; each sleep ends a little late, as on a busy machine."""

    def __init__(self, seed: int, latest_s: float) -> None:
        self.now_s = 0.0
        self._chance = random.Random(seed)
        self._latest_s = latest_s

    def now(self) -> float:
        return self.now_s

    async def sleep(self, for_s: float) -> None:
        await asyncio.sleep(0)  # whoever else is ready goes first
        self.now_s += for_s + self._chance.uniform(0, self._latest_s)


def fullest_second(moments: list[float]) -> int:
    """The most that lie within any second, wherever it begins."""
    ordered = sorted(moments)
    return max(sum(at <= other < at + 1 for other in ordered[place:]) for place, at in enumerate(ordered))


@pytest.mark.parametrize("latest_s", [0.0, 0.02, 0.3])
@pytest.mark.parametrize("per_second", [1, 7, 30])
@pytest.mark.parametrize("seed", [1, 2, 3])
async def test_no_second_at_the_other_end_is_too_full(seed, per_second, latest_s):
    """However late each leaves, and unevenly long each is on its way, no sliding second holds more."""
    watch, chance = Watch(seed, latest_s), random.Random(seed)
    turnstile = Turnstile(per_second, watch.now, watch.sleep)
    arrived: list[float] = []

    async def go() -> None:
        await turnstile.passed()
        arrived.append(watch.now_s + chance.uniform(0, UNEVEN_S))

    await asyncio.gather(*(go() for _ in range(200)))

    assert fullest_second(arrived) <= per_second
    assert len(arrived) == 200


async def test_the_pace_is_used():
    """On a machine that is never late, all but the allowance for uneven ways goes through."""
    watch = Watch(1, 0.0)
    turnstile = Turnstile(30, watch.now, watch.sleep)

    for _ in range(301):
        await turnstile.passed()

    assert watch.now_s == pytest.approx(10 * (1 + UNEVEN_S))


async def test_what_waited_does_not_come_all_at_once():
    """After a pause whoever has gathered goes one by one, in the order of coming."""
    watch = Watch(1, 0.0)
    turnstile = Turnstile(10, watch.now, watch.sleep)
    passed: list[tuple[int, float]] = []

    async def go(number: int) -> None:
        await turnstile.passed()
        passed.append((number, watch.now_s))

    turnstile.close(for_s=5)
    await asyncio.gather(*(go(number) for number in range(4)))

    assert passed == [(number, pytest.approx(5 + 0.11 * number)) for number in range(4)]


async def test_a_pause_meets_those_who_wait_already():
    """Who is next in line when the pause begins waits it out."""
    watch = Watch(1, 0.0)
    turnstile = Turnstile(1, watch.now, watch.sleep)
    await turnstile.passed()
    waiting = asyncio.create_task(turnstile.passed())
    await asyncio.sleep(0)

    turnstile.close(for_s=9)
    await waiting

    assert watch.now_s == pytest.approx(9)


async def test_an_endless_pace_holds_nobody_up():
    """A channel without a limit lets everybody through at once."""
    watch = Watch(1, 0.0)
    turnstile = Turnstile(float("inf"), watch.now, watch.sleep)

    for _ in range(100):
        await turnstile.passed()

    assert watch.now_s == 0
