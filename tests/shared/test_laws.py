"""What no pile may break, however it is built: its books, its bounds, and the order of cause and effect."""

import os
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared import life
from shared.forecast import forecast
from shared.pile import Ingredient, Pile, Record
from tests.shared.one_pile import GRASSY, LEAFY, WOODY, build, dry_kg, go, sky

BUILT = st.fixed_dictionaries(
    {
        "volume_m3": st.floats(0.05, 4),
        "kg_m3": st.floats(60, 900),
        "moisture": st.floats(0.08, 0.88),
        "pools": st.sampled_from([GRASSY, LEAFY, WOODY, (0.6, 0.3, 0.1)]),
        "draught": st.floats(0.2, 4),
        "film": st.floats(2, 30),
        "conductivity": st.floats(0.15, 0.8),
        "shell_share": st.floats(0.2, 0.45),
        "mixing": st.floats(0, 1),
        "turn_loss": st.floats(0, 0.8),
        "catch_share": st.floats(0.02, 1),
        "et_share": st.floats(0, 1),
        "holding_moisture": st.floats(0.6, 0.78),
        "creep_per_day": st.floats(0, 0.3),
    }
)


@settings(deadline=None, max_examples=60)
@given(
    built=BUILT,
    air=st.floats(-30, 45),
    swing=st.floats(0, 15),
    rain=st.floats(0, 40),
    et0=st.floats(0, 10),
    turn_every=st.sampled_from([None, 1, 7, 30]),
    can=st.floats(0, 300),
    fed_kg=st.floats(0, 40),
)
def test_water_and_dry_matter_are_all_accounted_for(
    built: dict,
    air: float,
    swing: float,
    rain: float,
    et0: float,
    turn_every: int | None,
    can: float,
    fed_kg: float,
) -> None:
    """Water and dry matter balance to 1e-9, temperatures keep within bounds, and nothing is ever NaN."""
    pile, _ = build(air_c=air, **built)
    feed = (0.12 * fed_kg, 0.10 * fed_kg, 0.08 * fed_kg, 0.05 * fed_kg, 0.65 * fed_kg, 0.002 * fed_kg)
    dry_before = dry_kg(pile) + len(range(7, 120, 7)) * sum(feed[:4])
    water_before = float((pile["core"]["water_kg"] + pile["shell"]["water_kg"])[0])

    course = go(
        120,
        air_c=air + swing * np.sin(np.arange(120)),
        rain_mm=rain,
        et0_mm=et0,
        turn_every=turn_every,
        water={3: can, 50: can},
        feed=feed,
        **built,
    )

    end = course.end[0]
    lost = dry_before - dry_kg(course.end)
    water = end["core"]["water_kg"] + end["shell"]["water_kg"]
    came = water_before + 0.55 * lost + end["gained_kg"] - end["drained_kg"]
    assert water == pytest.approx(came, rel=1e-9, abs=1e-9 * (water_before + 120 * rain))
    assert lost >= -1e-9 * dry_before
    assert np.isfinite(course.core_c).all()
    assert np.isfinite(course.moisture).all()
    assert course.core_c.min() >= air - swing - 25
    assert course.core_c.max() <= 80


@settings(deadline=None, max_examples=30)
@given(
    volume=st.floats(0.1, 4), hot=st.floats(30, 70), conductivity=st.floats(0.2, 0.6), film=st.floats(3, 20)
)
def test_an_inert_pile_with_more_insulation_never_cools_faster(
    volume: float, hot: float, conductivity: float, film: float
) -> None:
    """Without decay and draught a better kept warmth stays longer."""
    inert = {"fast_per_day": 0.0, "moderate_per_day": 0.0, "slow_per_day": 0.0}

    def last_core(conductivity: float, film: float) -> float:
        pile, own = build(
            air_c=hot, conductivity=conductivity, film=film, volume_m3=volume, draught=1e-9, **inert
        )
        seen = np.zeros((1, 4, len(life.SEEN)), np.float32)
        deeds = np.zeros((4, 5))
        deeds[:, 2:4] = -1
        life.run(pile, own, np.zeros(1, np.int64), sky(4, 10.0), deeds, np.zeros((1, 0, 6)), 0, 4, 4, 4, seen)
        return float(pile["core"]["temp_c"][0])

    assert last_core(0.8 * conductivity, film) >= last_core(conductivity, film) - 1e-9
    assert last_core(conductivity, 0.8 * film) >= last_core(conductivity, film) - 1e-9


MIX = st.fixed_dictionaries(
    {
        "volume_m3": st.floats(0.1, 2.5),
        "kg_m3": st.floats(150, 500),
        "moisture": st.floats(0.35, 0.68),
        "pools": st.sampled_from([GRASSY, LEAFY, WOODY]),
        "air_c": st.floats(0, 25),
    }
)
STEPS_ERR_K = 0.3


@settings(deadline=None, max_examples=60)
@given(mix=MIX, change=st.sampled_from(["larger", "less conductive", "stiller", "richer"]))
def test_what_keeps_or_makes_heat_gives_no_lower_peak(mix: dict[str, Any], change: str) -> None:
    """Larger, better insulated or richer in food: the core gets at least as hot."""
    fast, moderate, slow = mix["pools"]
    changed = {
        "larger": {"volume_m3": 1.3 * mix["volume_m3"]},
        "less conductive": {"conductivity": 0.25},
        "stiller": {"film": 5.0},
        "richer": {"pools": (fast + 0.1, moderate, slow - 0.1)},
    }[change]

    assert go(42, **(mix | changed)).core_c.max() >= go(42, **mix).core_c.max() - STEPS_ERR_K


@settings(deadline=None, max_examples=60)
@given(mix=MIX, change=st.sampled_from(["starved", "drier", "tougher"]))
def test_what_slows_decay_leaves_no_less(mix: dict[str, Any], change: str) -> None:
    """Short of nitrogen, drier (below 50 %) or with less food: at least as much dry matter is left."""
    fast, moderate, slow = mix["pools"]
    moisture = min(0.50, mix["moisture"])
    mix = mix | {"moisture": moisture}
    dry_kg_m3 = mix["kg_m3"] * (1 - moisture)
    changed = {
        "starved": {"nitrogen_slowing": 0.7},
        "drier": {"moisture": moisture - 0.1, "kg_m3": dry_kg_m3 / (1.1 - moisture)},
        "tougher": {"pools": (fast - 0.05, moderate, slow + 0.05)},
    }[change]

    assert go(42, **(mix | changed)).dry_left[-1] >= go(42, **mix).dry_left[-1] - 0.002


def outlook() -> str:
    """A forecast of a pile that was read, turned and watered, every digit of it."""
    built = date(2026, 4, 1)
    leaves, grass = Ingredient("dry_leaves", 0.6), Ingredient("grass_clippings", 0.7)
    pile = Pile("p", built, 1.0, 1.0, 1.0, (leaves, grass))
    read = [Record("temperature", built + timedelta(days=day), core_c=66.0 - day) for day in (3, 8, 20)]
    done = [Record(kind, built + timedelta(days=20)) for kind in ("turned", "watered")]
    return repr(forecast(pile, read + done, built + timedelta(days=30), seed=5))


def test_the_plainest_machine_comes_to_the_same_forecast(tmp_path: Path) -> None:
    """To the last digit, compiled in a process of its own for a processor without the wide units of today."""
    plain = {"NUMBA_CPU_NAME": "generic", "NUMBA_CPU_FEATURES": "", "NUMBA_CACHE_DIR": str(tmp_path)}
    script = "from tests.shared.test_laws import outlook; print(outlook())"

    told = subprocess.run(
        [sys.executable, "-c", script],
        cwd=Path(__file__).parents[2],
        env=os.environ | plain,
        capture_output=True,
        text=True,
        check=True,
    )

    assert told.stdout.strip() == outlook()
