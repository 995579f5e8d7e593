"""Run many piles with their weather and keepers day by day, and keep what the bank and the tests need."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.simulator import physics
from tests.simulator.climate import PLACES, Weather, daily_weather
from tests.simulator.draw import Builds, humidity, matter
from tests.simulator.keepers import Keepers, watering
from tests.simulator.materials import IDS
from tests.simulator.physics import Sky
from tests.simulator.state import SHELLS, STEP_D, Floats, State, Traits, build
from tests.simulator.truth import HORIZON_D, passes

STEPS = round(1 / STEP_D)
RETIRE_EVERY_D = 20


@dataclass(slots=True)
class History:
    """Day by day: (day, pile), `noon_c` (day, pile, shell). Days after a pile retired stay NaN."""

    noon_c: Floats
    core_c: Floats
    air_c: Floats
    left: Floats  # (day, pile, fast and moderate)
    felt: Floats
    o2_pct: Floats
    c_n: Floats
    volume_m3: Floats
    watered_l: Floats
    final: State | None = None  # only where every pile ran to the end


@dataclass(slots=True)
class Feeding:
    """What is tipped onto fed piles, until the day on which adding stops."""

    additions: dict[tuple[int, int], list[tuple[int, float]]]  # (pile, day): [(material, litres)]
    stops_on: NDArray[np.intp]
    seeds: NDArray[np.int64]


def draw_weather(b: Builds, days: int, rng: np.random.Generator) -> list[Weather]:
    """Weather for each pile from its build day on."""
    places = list(PLACES.values())
    return [
        daily_weather(places[place], built.timetuple().tm_yday, days, rng)
        for place, built in zip(b.place, b.built, strict=True)
    ]


def draw_feeding(b: Builds, rng: np.random.Generator) -> Feeding:
    """A bucket or two of scraps a week with a cover of browns, some weeks missed."""
    scraps = [
        IDS.index(i) for i in ("kitchen_scraps", "vegetable_scraps", "coffee_grounds", "grass_clippings")
    ]
    browns = [IDS.index(i) for i in ("dry_leaves", "shredded_paper", "straw")]
    additions: dict[tuple[int, int], list[tuple[int, float]]] = {}
    for pile in np.flatnonzero(b.fed):
        green, brown = rng.choice(scraps), rng.choice(browns)
        amount, cover, every = rng.uniform(5, 18), rng.uniform(0.5, 2.5), rng.uniform(3, 10)
        for day in np.cumsum(rng.gamma(4, every / 4, 80)).astype(int) + 1:
            additions[(int(pile), int(day))] = [
                (green, float(amount * rng.uniform(0.5, 1.6))),
                (brown, float(amount * cover * rng.uniform(0.5, 1.6))),
            ]
    return Feeding(additions, np.full(len(b.built), HORIZON_D), rng.integers(0, 2**62, len(b.built)))


@dataclass(frozen=True, slots=True)
class _Skies:
    """The weather of all piles, (pile, day) each."""

    middle_c: Floats
    swing_k: Floats
    humidity: Floats
    soil_c: Floats
    sunshine: Floats
    rain_mm: Floats
    et0_mm: Floats

    def at(self, who: NDArray[np.intp], day: int, hour: float) -> Sky:
        """The weather over these piles at an hour: warmest at three, sun from six to six."""
        bell = max(0.0, np.sin(np.pi * (hour - 6) / 12)) * np.pi / 2
        return Sky(
            self.middle_c[who, day] + self.swing_k[who, day] * np.cos(2 * np.pi * (hour - 15) / 24),
            self.humidity[who, day],
            self.soil_c[who, day],
            self.sunshine[who, day] * bell,
            self.rain_mm[who, day],
            self.et0_mm[who, day] * bell,
        )


def _skies(weather: list[Weather], days: int) -> _Skies:
    low, high, rain, soil, et0, sun = (
        np.stack([getattr(w, name)[:days] for w in weather])
        for name in ("min_c", "max_c", "rain_mm", "soil_c", "et0_mm", "sunshine")
    )
    return _Skies((low + high) / 2, (high - low) / 2, humidity(low, high - low), soil, sun, rain, et0)


def run(
    b: Builds,
    traits: Traits,
    keepers: Keepers,
    weather: list[Weather],
    feeding: Feeding | None = None,
    *,
    days: int = HORIZON_D,
    watch_d: int = HORIZON_D,
) -> History:
    """Run all piles for `days`; a pile that has passed its five days and `watch_d` retires."""
    n = len(b.built)
    skies, history = _skies(weather, days), _empty(n, days)
    state = build(traits, b.pools_kg, b.water_kg, b.nitrogen_kg, skies.middle_c[:, 0] + 3)
    alive, streak, done = np.arange(n), np.zeros(n, dtype=int), np.zeros(n, dtype=bool)
    p, k = traits, keepers
    for day in range(days):
        air = skies.middle_c[alive, day]
        physics.shape(p, state)
        morning = _hours(p, state, skies, alive, day, range(STEPS // 2)) if day else []
        _look(k, state, history, day, alive)
        if day:
            _work(p, k, state, history, feeding, day, alive, air)
        warmth = morning + _hours(p, state, skies, alive, day, range(STEPS // 2, STEPS))
        core, left = np.mean(warmth, axis=0), state.left()
        history.core_c[day, alive], history.air_c[day, alive], history.left[day, alive] = core, air, left.T
        streak = np.where(passes(left[0], left[1], core, air), streak + 1, 0)
        done |= streak >= 5
        if day % RETIRE_EVERY_D == 0 and day > watch_d and done.any():
            keep = np.flatnonzero(~done)
            alive, streak, done = alive[keep], streak[keep], done[keep]
            p, k, state = p.take(keep), k.take(keep), state.take(keep)
        if not len(alive):
            break
    history.final = state if len(alive) == n else None
    return history


def _hours(
    p: Traits, state: State, skies: _Skies, alive: NDArray[np.intp], day: int, steps: range
) -> list[Floats]:
    """Step through a part of the day; returns the core after each step."""
    core = []
    for i in steps:
        physics.step(p, state, skies.at(alive, day, (i + 0.5) * 24 / STEPS))
        core.append(state.warmth_c[0].copy())
    return core


def _empty(n: int, days: int) -> History:
    def blank(*each: int) -> Floats:
        return np.full((days, n, *each), np.nan)

    return History(blank(SHELLS), blank(), blank(), blank(2), blank(), blank(), blank(), blank(), blank())


def _look(k: Keepers, state: State, history: History, day: int, alive: NDArray[np.intp]) -> None:
    """Note at noon what can be seen and felt."""
    handful = np.array([0.0, 0.1, 0.3, 0.35, 0.25])[:, None]
    fresh = state.pools[0].sum(axis=0) / state.dry.sum(axis=0)
    hidden = 0.05 * np.minimum(1, fresh / 0.3)  # water still inside the cells
    history.noon_c[day, alive] = state.warmth_c.T
    history.felt[day, alive] = (
        (state.moisture * handful).sum(axis=0) - hidden + k.feel_bias + k.feel_noise[:, day]
    )
    history.o2_pct[day, alive] = state.o2_pct[:3].min(axis=0)
    history.c_n[day, alive] = 0.5 * state.pools[:3].sum(axis=(0, 1)) / state.nitrogen
    history.volume_m3[day, alive] = physics.volume_m3(state)
    history.watered_l[day, alive] = 0.0


def _work(
    p: Traits,
    k: Keepers,
    state: State,
    history: History,
    feeding: Feeding | None,
    day: int,
    alive: NDArray[np.intp],
    air_c: Floats,
) -> None:
    """Let the keepers feed, turn and water."""
    if feeding is not None:
        _feed(p, state, feeding, day, alive, air_c)
    turned = k.turns[:, day]
    if turned.any():
        physics.turn(state, turned, k.thorough, air_c)
    litres = watering(k, day, history.felt[day, alive])
    if litres.any():
        physics.water(p, state, litres, turned)
    history.watered_l[day, alive] = litres


def _feed(
    p: Traits, state: State, feeding: Feeding, day: int, alive: NDArray[np.intp], air_c: Floats
) -> None:
    rows = [
        (row, pile)
        for row, pile in enumerate(alive)
        if (int(pile), day) in feeding.additions and day <= feeding.stops_on[pile]
    ]
    if not rows:
        return
    pools, water, nitrogen = np.zeros((4, len(alive))), np.zeros(len(alive)), np.zeros(len(alive))
    for row, pile in rows:
        litres = np.zeros((1, len(IDS)))
        for material, amount in feeding.additions[(int(pile), day)]:
            litres[0, material] += amount
        rng = np.random.default_rng([int(feeding.seeds[pile]), day])
        fresh, wet, rich = matter(litres, rng)
        pools[:, row], water[row], nitrogen[row] = fresh[:, 0], wet[0], rich[0]
    physics.add(state, pools, water, nitrogen, air_c, p.lag_start)
