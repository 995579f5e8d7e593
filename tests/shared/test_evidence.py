"""How what keepers saw weighs likely piles, against exact Gaussian conditioning."""

from datetime import date, timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm

from shared import ensemble, evidence, traces
from shared.evidence import DRIFT_BASE_K, DRIFT_DAYS, DRIFT_SHARE, PROBE_SD_K, Drift, resample
from shared.history import read_history
from shared.pile import Ingredient, Pile, Record

BUILT = date(2026, 5, 1)
PILE = Pile(
    "p", BUILT, 1.0, 1.0, 1.0, (Ingredient("dry_leaves", 0.7), Ingredient("grass_clippings", 0.7)), bin=True
)


def weighed(*records: Record, day: int) -> tuple[np.ndarray, np.ndarray]:
    """Weights of the members, and what is seen of them on the last day."""
    history = read_history(PILE, records, BUILT + timedelta(days=day))
    sky = traces.skies(PILE, day + 1, 0)
    likely = ensemble.draw(PILE, history, 15.0, 0)
    seen = ensemble.live_through(likely, history, sky)
    weights = np.exp(evidence.weigh(likely, history, seen, sky.air_c).log_weight)
    return weights / weights.sum(), seen[:, -1].astype(float)


def test_the_drift_is_that_of_exact_gaussian_conditioning() -> None:
    """Mean and variance agree with conditioning an Ornstein-Uhlenbeck process on all readings at once."""
    days, off, rise, ahead = np.array([2, 3, 7, 15, 16]), np.array([4.0, 6.0, -1.0, 3.0, 2.0]), 20.0, 18
    drift = Drift(1)

    for day, value in zip(days, off, strict=True):
        drift.forward(int(day), rise)
        drift.observe(np.array([value]), PROBE_SD_K)
    drift.forward(ahead, rise)

    usual = (DRIFT_BASE_K + DRIFT_SHARE * rise) ** 2
    among = usual * np.exp(-np.abs(days[:, None] - days[None, :]) / DRIFT_DAYS) + PROBE_SD_K**2 * np.eye(5)
    to_now = usual * np.exp(-(ahead - days) / DRIFT_DAYS)
    gain = np.linalg.solve(among, to_now)
    assert_allclose(drift.mean_k[0], gain @ off, rtol=1e-10)
    assert_allclose(drift.variance, usual - gain @ to_now, rtol=1e-10)


def test_weighed_members_come_to_the_exact_posterior(monkeypatch: pytest.MonkeyPatch) -> None:
    """A Gaussian toy: a level that differs from member to member, drift and noise, known in closed form.

    Conditioned at once by linear algebra, level and true core have the mean and spread that members weighed
    reading by reading have; without the chance of stray readings, which is no Gaussian.
    """
    monkeypatch.setattr(evidence, "STRAY", 0.0)
    days, read, rise, level_sd = np.array([1, 2, 4, 9, 10]), np.array([5.0, 2.0, 6.0, 7.0, 4.0]), 20.0, 6.0
    level = level_sd * norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    drift, log_weight = Drift(len(level)), np.zeros(len(level))

    for day, value in zip(days, read, strict=True):
        drift.forward(int(day), rise)
        log_weight += drift.observe(value - level, PROBE_SD_K)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()

    usual = (DRIFT_BASE_K + DRIFT_SHARE * rise) ** 2
    fade = usual * np.exp(-np.abs(days[:, None] - days[None, :]) / DRIFT_DAYS)
    among = level_sd**2 + fade + PROBE_SD_K**2 * np.eye(5)
    for values, spread, shared, prior in (
        (level, 0.0, np.full(5, level_sd**2), level_sd**2),
        (level + drift.mean_k, drift.variance, level_sd**2 + fade[-1], level_sd**2 + usual),
    ):
        gain = np.linalg.solve(among, shared)
        mean = weight @ values
        assert_allclose(mean, gain @ read, rtol=1e-3)
        assert_allclose(weight @ (values - mean) ** 2 + spread, prior - gain @ shared, rtol=2e-3)


def test_a_reading_far_off_hardly_tells_members_apart() -> None:
    """One stray reading cannot rule out a member that all others speak for."""
    drift = Drift(2)
    drift.forward(5, 30.0)

    near, far = drift.observe(np.array([0.0, 60.0]), PROBE_SD_K)

    assert near - far < 6.0


def test_hot_readings_speak_for_hot_members() -> None:
    """After 63 °C on day 4 the members that weigh most are hotter than the usual one, and more decayed."""
    plain, seen = weighed(day=4)
    weights, _ = weighed(Record("temperature", BUILT + timedelta(days=4), core_c=63.0), day=4)

    assert np.allclose(plain, plain[0])
    assert weights @ seen[:, 0] > seen[:, 0].mean() + 5


@pytest.mark.parametrize(("word", "sign"), [("bit_dry", -1), ("soggy", 1)])
def test_a_hand_speaks_for_dry_or_wet_members(word: str, sign: int) -> None:
    """A squeeze test shifts moisture its way."""
    weights, seen = weighed(Record("moisture", BUILT + timedelta(days=20), word=word), day=20)

    assert sign * (weights @ seen[:, 1] - seen[:, 1].mean()) > 0.002


def test_an_edge_reading_says_nothing_of_the_core() -> None:
    """A surface reading leaves all weights alike."""
    weights, _ = weighed(Record("temperature", BUILT + timedelta(days=4), core_c=25.0, edge=True), day=4)

    assert np.allclose(weights, weights[0])


def test_members_are_kept_by_weight() -> None:
    """Each is kept as often as its weight deserves, give or take one."""
    weight = np.linspace(1, 3, 64)
    kept = resample(np.log(weight), 640)

    deserved = 640 * weight / weight.sum()
    assert np.all(np.abs(np.bincount(kept, minlength=64) - deserved) <= 1)


def test_one_lucky_member_does_not_speak_for_all() -> None:
    """However well one fits, the members kept are worth a sixteenth of those drawn, or nearly."""
    log_weight = np.zeros(512)
    log_weight[17] = 500.0

    counts = np.bincount(resample(log_weight, 512), minlength=512) / 512
    assert 1 / np.sum(counts**2) > 20
