"""What a forecast rests on: which evidence moved its done date, and what was not said and so assumed."""

import numpy as np

from shared import ensemble, traces
from shared.belief import Belief

LEAST_PULL = 0.25


def moved(belief: Belief) -> tuple[str, ...]:
    """Codes of what moved the done date most, strongest first.

    Each kind of evidence is measured by how far it alone shifts the days of decay that the members have had
    (moisture: how wet they are), in standard deviations; deeds by their rate against the intended one.
    """
    now = belief.seen[:, -1].astype(np.float64)
    pulls: dict[str, float] = {}

    def shift(part: str, column: int) -> float:
        weight = np.exp(belief.weighed.parts[part] - belief.weighed.parts[part].max())
        values = now[:, column]
        return float((np.average(values, weights=weight) - values.mean()) / max(values.std(), 1e-9))

    eaten, wet = shift("core", 7), shift("moisture", 1)
    pulls["hot_readings" if eaten > 0 else "cool_readings"] = abs(eaten)
    pulls["wet" if wet > 0 else "dry"] = abs(wet)
    if any(sight.kind == "height" for sight in belief.history.sights):
        pulls["height"] = abs(shift("other", 7))
    intended = ensemble.INTENDED_DAYS[belief.pile.turning or "fortnightly"]
    expected = ensemble.KEPT_PROMISE * belief.history.today / intended
    extra = (len(belief.history.turned) - expected) / np.sqrt(expected + 1.0)
    pulls["turned" if extra > 0 else "not_turned"] = 0.5 * abs(float(extra))
    if belief.history.watered:
        pulls["watered"] = 0.3 * float(np.sqrt(len(belief.history.watered)))
    cold = traces.colder_than_usual_k(belief.pile, belief.history.today)
    if cold > 0.0:
        pulls["cold_weather"] = 0.2 * cold
    strong = [code for code, pull in pulls.items() if pull >= LEAST_PULL]
    return tuple(sorted(strong, key=lambda code: -pulls[code]))


def assumed(belief: Belief) -> tuple[str, ...]:
    """Codes of what was not said and so assumed."""
    unsaid = ("pieces", "climate", "turning", "bin", "covered", "shade", "latitude")
    codes = [name for name in unsaid if getattr(belief.pile, name) is None]
    if not any(sight.kind == "moisture" for sight in belief.history.sights):
        codes.append("moisture")
    if belief.history.unsaid_water:
        codes.append("water_litres")
    if belief.history.unsaid_addition:
        codes.append("added_litres")
    if belief.likely.squeezed:
        codes.append("volumes")
    if belief.history.passed_over:
        codes.append("reading_left_out")
    return tuple(codes)
