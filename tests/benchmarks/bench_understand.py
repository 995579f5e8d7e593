"""Reading speed: `python -m tests.benchmarks.bench_understand`. Processor time a message, and as a ratio to a
general date search (dateparser's `search_dates`) over the same messages in the same run."""

import statistics
import time
import warnings
from collections.abc import Callable
from datetime import datetime

from dateparser.search import search_dates

from bot.language.record_form import project
from bot.language.understand import understand
from tests.bot.language.senseless import SAID, senseless, unsaid

NOW = datetime(2026, 8, 11, 12, 0)
FUZZED = 100_000
LIMIT_MS = 50


def timed(work: Callable[[str], object], texts: list[str]) -> list[float]:
    """Milliseconds of processor time that each text takes, in order of size."""
    spent = []
    for text in texts:
        start = time.process_time()
        work(text)
        spent.append((time.process_time() - start) * 1000)
    return sorted(spent)


def show(name: str, spent: list[float]) -> float:
    """Print median, 99th percentile and worst; return the sum."""
    print(
        f"{name:38} median {statistics.median(spent):7.3f} ms   99 % {spent[int(len(spent) * 0.99)]:7.2f} ms"
        f"   worst {spent[-1]:7.2f} ms"
    )
    return sum(spent)


def fuzz(rounds: int) -> None:
    """Read senseless texts of up to 10,000 characters: none may raise, nor give what it did not say."""
    spent, invented = [], 0
    for seed in range(rounds):
        text = senseless(seed)
        start = time.process_time()
        meaning = understand(text, NOW, "f")
        project(meaning, NOW)
        spent.append((time.process_time() - start) * 1000)
        invented += bool(unsaid(text, meaning))
    show(f"{rounds} senseless texts", sorted(spent))
    print(
        f"{sum(ms > LIMIT_MS for ms in spent)} over {LIMIT_MS} ms, {invented} with a fact that was not said"
    )


def main() -> None:
    """Run it all on the tuned banks."""
    warnings.simplefilter("ignore")
    ours = show("understand", timed(lambda text: understand(text, NOW, "f"), SAID))
    some = SAID[::10]
    share = len(some) / len(SAID)
    plain = show("search_dates, no language", timed(search_dates, some))
    told = show(
        "search_dates, languages=[en, es]", timed(lambda t: search_dates(t, languages=["en", "es"]), some)
    )
    print(
        f"ratio: {plain / share / ours:.0f} times faster; "
        f"with languages given {told / share / ours:.1f} times"
    )
    fuzz(FUZZED)


if __name__ == "__main__":
    main()
