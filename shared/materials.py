"""The feedstock table: what each material is made of, what people call it, and whether it belongs in a pile.

`materials.csv` holds the measured rows, each value with its source and mark; `materials.toml` the names and
the verdicts. A row without measurements of its own stands for a measured one. Composition varies by a factor
of two within one name, so a mix worked out from this table is good to about ±30 % at best.

Sources (key, then mark: `read` seen in an excerpt, `memory` not checked again, `low` a rough guess):
A  Rynk (ed.), On-Farm Composting Handbook, NRAES-54, 1992, Table A.1
C  Alberta Agriculture, Manure Composting Manual, Agdex 400/27-1, Table 3
D  Trautmann and Richard, Cornell composting science and engineering notes, 1996
EPA, Massachusetts, Oregon, BC  volume-to-weight lists of those programmes (1997, 2002 to 2016)
Where a source gives only a range the middle stands here; `settled` is the upper end of the range, as in a
wetted and packed pile. Pools are shares of the volatile solids, derived from lignin and lab losses.
"""

import csv
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, get_args

from shared.errors import UnknownMaterial
from shared.units import KG_M3_PER_LB_YD3

Colour = Literal["brown", "green", "neither"]
Verdict = Literal["yes", "some", "hot_only", "no"]
Reason = Literal[
    "good_brown", "good_green", "nitrogen_rich", "locks_nitrogen", "starter", "mineral", "slow",
    "slow_acid", "mats", "wet_sweet", "pungent", "resprouts", "raises_ph", "salty", "synthetic",
    "greasy", "blocks_air", "draws_rodents", "pests_smell", "pathogens", "disease", "manure",
    "manure_herbicide", "herbicide", "seeds", "seeds_herbicide", "spreads", "thorns",
    "poison_touch", "toxic", "toxic_to_dogs", "allelopathic", "chemicals", "plastic",
    "not_in_home_pile", "never_rots", "fire", "come_by_themselves", "unknown",
]  # fmt: skip
"""Why a material belongs in a pile, or does not."""
How = Literal[
    "mix_in", "shred_or_mix", "chop", "chop_bury", "bury", "bury_flies", "closed_bin_bury",
    "thin_layers", "thin_layers_mix", "structure", "tear_plain", "tear_wet", "crush", "rinse",
    "sprinkle", "handful", "upside_down", "untreated_thin", "natural_only", "no_chemicals",
    "no_plastic_bags", "no_grease", "herbicide_check", "before_seed", "hot_core_or_drown",
    "dry_or_drown_first", "manure_clock", "chip_gloves", "full_composting", "separate_year",
    "cold_dusting", "cold_for_days", "leave_on_lawn", "leave_out", "trash", "recycle_or_trash",
    "ask_staff",
]  # fmt: skip
"""How to add it, or what to do with it instead."""

REASONS: frozenset[str] = frozenset(get_args(Reason))
HOWS: frozenset[str] = frozenset(get_args(How))
ORGANIC_PER_CARBON = 1.8
"""%C = (100 - %ash)/1.8, the New Zealand formula (A and D, from memory)."""


@dataclass(frozen=True, slots=True)
class Material:
    """One feedstock. Shares are of dry mass unless the line says otherwise.

    id, like         the row, and the measured row that it stands for (itself where measured)
    record_id        the id under which a message about it is recorded
    nitrogen         [kg N/kg dry]
    c_n              [kg C/kg N], None for minerals
    moisture         [kg water/kg wet]
    loose_kg_m3      wet mass by volume as tipped in
    settled_kg_m3    the same wetted and packed, as in a built pile
    volatile         volatile solids, loss on ignition [kg/kg dry]
    fast, moderate, slow   pools as shares of the volatile solids: sugars, starch and protein; cellulose-like;
                     lignin and wood
    en, es           names, the first one to show
    sources          field to "source mark"
    """

    id: str
    like: str
    record_id: str
    colour: Colour
    nitrogen: float
    c_n: float | None
    moisture: float
    loose_kg_m3: float
    settled_kg_m3: float
    volatile: float
    fast: float
    moderate: float
    slow: float
    verdict: Verdict
    reason: Reason
    how: How
    en: tuple[str, ...]
    es: tuple[str, ...]
    sources: Mapping[str, str]

    @property
    def carbon(self) -> float:
        """Carbon [kg C/kg dry]: nitrogen times C:N, or from the ash where C:N says nothing.

        More than matter can hold for sawdust and bark, whose printed means are of different samples: the
        printed ratio is kept.
        """
        return self.volatile / ORGANIC_PER_CARBON if self.c_n is None else self.nitrogen * self.c_n

    @property
    def dry_kg_m3(self) -> float:
        """Dry mass by loose volume."""
        return self.loose_kg_m3 * (1 - self.moisture)

    @property
    def degradable(self) -> float:
        """Share of the volatile solids that months in a pile can use up."""
        return self.fast + self.moderate


def material(id: str) -> Material:
    """The feedstock of that id. Raises UnknownMaterial."""
    try:
        return _table()[id]
    except KeyError:
        raise UnknownMaterial(f"no material is called {id!r}; use 'other' for what the table lacks") from None


def all_materials() -> tuple[Material, ...]:
    """Every feedstock, in the order of the names file."""
    return tuple(_table().values())


@cache
def _table() -> Mapping[str, Material]:
    folder = Path(__file__).parent
    with (folder / "materials.csv").open(encoding="utf-8", newline="") as file:
        measured = {row["id"]: row for row in csv.DictReader(file)}
    named = tomllib.loads((folder / "materials.toml").read_text(encoding="utf-8"))
    return MappingProxyType({id: _material(id, entry, measured) for id, entry in named.items()})


def _material(id: str, entry: dict[str, Any], measured: Mapping[str, Mapping[str, str]]) -> Material:
    like = entry.get("like", id)
    row: Any = measured[like]
    return Material(
        id=id,
        like=like,
        record_id=entry.get("record", id),
        colour=row["colour"],
        nitrogen=float(row["nitrogen_pct"]) / 100,
        c_n=float(row["c_n"]) if row["c_n"] else None,
        moisture=float(row["moisture_pct"]) / 100,
        loose_kg_m3=float(row["loose_lb_yd3"]) * KG_M3_PER_LB_YD3,
        settled_kg_m3=float(row["settled_lb_yd3"]) * KG_M3_PER_LB_YD3,
        volatile=float(row["volatile_pct"]) / 100,
        fast=float(row["fast"]),
        moderate=float(row["moderate"]),
        slow=float(row["slow"]),
        verdict=entry["verdict"],
        reason=entry["reason"],
        how=entry["how"],
        en=tuple(entry["en"]),
        es=tuple(entry["es"]),
        sources=MappingProxyType(
            {
                name: row[f"{name}_from"]
                for name in ("nitrogen", "c_n", "moisture", "loose", "settled", "volatile", "pools")
            }
        ),
    )
