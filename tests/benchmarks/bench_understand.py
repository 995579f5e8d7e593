"""Reading speed: `python -m tests.benchmarks.bench_understand`. Processor time a message, and as a ratio to a
general date search (dateparser's `search_dates`) over the same messages in the same run."""

import json
import random
import statistics
import time
import warnings
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from dateparser.search import search_dates

from bot.language.understand import project, understand

BANK = Path(__file__).parents[1] / "bot" / "language" / "bank"
NOW = datetime(2026, 8, 11, 12, 0)
FUZZED = 100_000


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


def fuzz(texts: list[str], rounds: int) -> None:
    """Read random and adversarial texts of up to 10,000 characters: none may raise."""
    chance = random.Random(7)
    words = " ".join(texts).split()
    worst = 0.0
    for _ in range(rounds):
        kind = chance.randrange(4)
        if kind == 0:
            text = " ".join(chance.choice(words) for _ in range(chance.choice([3, 30, 300])))
        elif kind == 1:
            text = "".join(chr(chance.randrange(0x2FFF)) for _ in range(chance.choice([5, 60, 600])))
        elif kind == 2:
            text = chance.choice([*words, "<b>", "'; DROP TABLE", "\x00", "¿", "½"]) * chance.choice(
                [2, 50, 2000]
            )
        else:
            text = " ".join(chance.choice(texts) for _ in range(2))[::-1]
        start = time.process_time()
        project(understand(text[:10_000], NOW, "f"), NOW)
        worst = max(worst, (time.process_time() - start) * 1000)
    print(f"{rounds} fuzzed texts: none raised, worst {worst:.1f} ms of processor time")


def main() -> None:
    """Run it all on the tuned banks."""
    warnings.simplefilter("ignore")
    lines = [
        line
        for f in ("en_tuned", "es_tuned")
        for line in (BANK / f"{f}.jsonl").read_text("utf-8").splitlines()
    ]
    texts = [json.loads(line)["text"] for line in lines]
    ours = show("understand", timed(lambda text: understand(text, NOW, "f"), texts))
    some = texts[::10]
    share = len(some) / len(texts)
    plain = show("search_dates, no language", timed(search_dates, some))
    told = show(
        "search_dates, languages=[en, es]", timed(lambda t: search_dates(t, languages=["en", "es"]), some)
    )
    print(
        f"ratio: {plain / share / ours:.0f} times faster; "
        f"with languages given {told / share / ours:.1f} times"
    )
    fuzz(texts, FUZZED)


if __name__ == "__main__":
    main()
