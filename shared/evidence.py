"""What keepers saw of a pile, and how well each likely pile explains it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from shared.ensemble import Array, Indices, Likely, Seen
from shared.history import History, Sight

KEPT = 128  # drawn by weight from the members, and run into the future

# How keepers see. A kitchen thermometer errs by about 3 °C, and its tip is not always in the middle;
# the model strays for days on end (Mason 2006: none hit the mean within 2 °C or the peak within 5 °C).
PROBE_SD_K = 3.0
AFTER_TURN_SD_K = 9.0
DRIFT_BASE_K = 1.5
DRIFT_SHARE = 0.25  # of the rise over the air
DRIFT_DAYS = 8.0
USUAL_RISE_K = 15.0
STRAY = 0.03  # chance of a word or reading that has nothing to do with the pile
STRAY_SPAN_K = 60.0
TRUST_SDS = 4.0  # a reading further off than so many standard deviations moves the drift no further

# Moisture by the squeeze test (common practice), and warmth by hand (assumed).
FEELS = {
    "dry": (0.0, 0.35),
    "bit_dry": (0.35, 0.45),
    "right": (0.45, 0.57),
    "bit_wet": (0.57, 0.65),
    "soggy": (0.65, 1.0),
}
HAND_SD = 0.06
WARMTH_C = {"cold": (-50.0, 28.0), "warm": (28.0, 42.0), "hot": (42.0, 100.0)}
WARMTH_SD_K = 8.0
HEIGHT_LOG_SD = 0.25
LEAST_WORTH = 1 / 16  # of the members, that weights must be worth
WEAK = 0.2  # floor of a chance, for words that say little


@dataclass(frozen=True, slots=True)
class Weighed:
    """How well members explain what was seen.

    log_weight   [member]; `parts` of it by what was seen: "core", "moisture", "other"
    drift_k      of the true core from each member [day, member] on the `drift_days`, which end today
    drift_sd_k   standard deviation of the drift today [K]
    """

    log_weight: Array
    parts: Mapping[str, Array]
    drift_days: Indices
    drift_k: Array
    drift_sd_k: float

    def drift_on(self, days: Indices, members: Indices) -> Array:
        """Drift of some members on any days [member, day]: even between readings, fading before and after."""
        known = self.drift_k[:, members]
        place = np.interp(days, self.drift_days, np.arange(len(known)))
        low = place.astype(np.int64)
        high = np.minimum(low + 1, len(known) - 1)
        part = (place - low)[:, None]
        beyond = np.maximum(np.maximum(self.drift_days[0] - days, days - self.drift_days[-1]), 0)
        faded = np.exp(-beyond / DRIFT_DAYS)[:, None]
        return np.asarray((faded * ((1.0 - part) * known[low] + part * known[high])).T)


class Drift:
    """Distance of the true core from each member: an Ornstein-Uhlenbeck process under a scalar Kalman filter.

    Its gain does not depend on the member, so one variance serves all.
    """

    def __init__(self, members: int) -> None:
        self.mean_k = np.zeros(members)
        self.variance = 0.0
        self.day = -1000

    def forward(self, day: int, rise_k: float) -> None:
        """Let it fade to `day`, where the core is about `rise_k` over the air."""
        fade = np.exp(-(day - self.day) / DRIFT_DAYS)
        usual = (DRIFT_BASE_K + DRIFT_SHARE * max(0.0, rise_k)) ** 2
        self.mean_k = fade * self.mean_k
        self.variance = float(fade * fade * self.variance + (1.0 - fade * fade) * usual)
        self.day = day

    def observe(self, off_k: Array, noise_sd_k: float) -> Array:
        """Log chance of a reading that lies `off_k` from each member; the drift learns from it."""
        total = self.variance + noise_sd_k**2
        off = off_k - self.mean_k
        chance = np.exp(-0.5 * off * off / total) / np.sqrt(2.0 * np.pi * total)
        limit = TRUST_SDS * np.sqrt(total)
        self.mean_k = self.mean_k + self.variance / total * np.clip(off, -limit, limit)
        self.variance *= noise_sd_k**2 / total
        return np.asarray(np.log((1.0 - STRAY) * chance + STRAY / STRAY_SPAN_K))


def weigh(likely: Likely, history: History, seen: Seen, air_c: Array) -> Weighed:
    """Weigh members by what was seen up to today. `air_c` is the known or usual air [day]."""
    parts = {name: np.zeros(seen.shape[0]) for name in ("core", "moisture", "other")}
    drift = Drift(seen.shape[0])
    path: dict[int, Array] = {}
    for sight in history.sights:
        row = seen[:, sight.day, :].astype(np.float64)
        if sight.kind in ("core", "core_after_turn"):
            air = air_c[sight.day]
            drift.forward(sight.day, sight.value - air)
            read = air + likely.own["probe_gain"] * (row[:, 0] - air)
            noise = PROBE_SD_K if sight.kind == "core" else AFTER_TURN_SD_K
            parts["core"] += drift.observe(sight.value - read, noise)
            path[sight.day] = drift.mean_k
        else:
            name = {"moisture": "moisture", "heat_feel": "core"}.get(sight.kind, "other")
            parts[name] += _log_chance(sight, row, likely, seen)
    drift.forward(history.today, USUAL_RISE_K)
    path[history.today] = drift.mean_k
    total = parts["core"] + parts["moisture"] + parts["other"]
    return Weighed(
        total, parts, np.array(list(path)), np.array(list(path.values())), float(np.sqrt(drift.variance))
    )


def _log_chance(sight: Sight, row: Array, likely: Likely, seen: Seen) -> Array | float:
    """Log chance of a word or a height, for each member; 0 for what says nothing of these."""
    kind, word = sight.kind, sight.word
    if kind == "moisture" and word in FEELS:
        return np.log(_between(row[:, 1] + likely.own["hand_bias"], FEELS[word], HAND_SD) + STRAY)
    if kind == "heat_feel" and word in WARMTH_C:
        return np.log(_between(row[:, 0], WARMTH_C[word], WARMTH_SD_K) + STRAY)
    if kind == "texture" and word in ("crumbly", "recognisable"):
        rotted = _logistic((0.60 - row[:, 5]) / 0.12)
        return np.log((rotted if word == "crumbly" else 1.0 - rotted) + WEAK)
    if kind == "smell" and word in ("rotten", "sour"):
        return np.log(_logistic((0.25 - row[:, 3]) / 0.06) + WEAK)
    if kind == "height":
        shrunk = row[:, 2] / seen[:, 0, 2]
        off = (np.log(sight.value) - np.log(shrunk)) / HEIGHT_LOG_SD
        return np.asarray(-0.5 * off * off / (1.0 + 0.1 * off * off))
    return 0.0


def _between(value: Array, marks: tuple[float, float], sd: float) -> Array:
    """Chance that `value` with logistic noise falls between two marks."""
    scale = 0.55 * sd
    return _logistic((marks[1] - value) / scale) - _logistic((marks[0] - value) / scale)


def _logistic(x: Array) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -40.0, 40.0))))


def resample(log_weight: Array, count: int = KEPT) -> Indices:
    """Indices of `count` members, as many of each as its weight deserves (systematic resampling).

    Weights are tempered until they are worth `LEAST_WORTH` of the members, so that no single lucky member
    speaks for all.
    """
    temper = 1.0
    while True:
        weight = np.exp(temper * (log_weight - log_weight.max()))
        weight /= weight.sum()
        if LEAST_WORTH * len(weight) * np.sum(weight * weight) <= 1.0:
            break
        temper *= 0.85
    marks = (np.arange(count) + 0.5) / count
    return np.searchsorted(np.cumsum(weight), marks * (1.0 - 1e-12)).clip(max=len(weight) - 1)
