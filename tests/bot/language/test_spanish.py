"""Spanish as it is texted: by ear, without marks, with the thing before its verb. One rule a test.

The expected records follow the form and the finer points that the sample messages of this folder show.
"""

from datetime import datetime
from typing import Any

import pytest

from bot.language.understand import project, understand

NOW = datetime(2026, 8, 11, 18, 0)  # a Tuesday


def facts(text: str, units: str = "f") -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = project(understand(text, NOW, units), NOW)["facts"]  # type: ignore[arg-type]
    return found


def kinds(text: str) -> list[str]:
    return [fact["kind"] for fact in facts(text)]


def asks(text: str) -> list[str]:
    return [ask["kind"] for ask in project(understand(text, NOW, "f"), NOW)["asks"]]


def materials(text: str) -> list[str]:
    return [fact["material"] for fact in facts(text) if fact["kind"] == "added"]


def readings(text: str, units: str = "f") -> list[float]:
    return [fact["f"] for fact in facts(text, units) if fact["kind"] == "temperature"]


@pytest.mark.parametrize(
    ("heard", "spelled"),
    [
        ("ya la bolteé", "ya la volteé"),
        ("le heche sacate berde", "le eché zacate verde"),
        ("guele a guevo podrido", "huele a huevo podrido"),
        ("tiene gusanos blankos", "tiene gusanos blancos"),
        ("hase 4 dias le meti aserrin", "hace 4 días le metí aserrín"),
        ("esta jumeando la pila", "está humeando la pila"),
    ],
)
def test_a_word_spelled_by_ear_is_the_word(heard: str, spelled: str) -> None:
    """b for v, s for c and z, a dropped or an added h, g for hu: what sounds alike is read alike."""
    assert facts(heard) == facts(spelled) != []


@pytest.mark.parametrize(
    ("text", "material"),
    [
        ("le eché hojitas de pino", "pine_needles"),
        ("puse cáscaras de los limones", "fruit_scraps"),
        ("le aventé un yogur de fresa", "dairy"),
        ("eché las matas de tomate que estaban enfermas", "diseased_plants"),
        ("puse las ramas que tienen espinas", "thorny_plants"),
        ("le cayó popó del perro", "pet_waste"),
    ],
)
def test_several_words_name_one_material(text: str, material: str) -> None:
    """A diminutive, an article inside, what it is made of and what ails it do not make two materials."""
    assert materials(text) == [material]


@pytest.mark.parametrize(
    "text",
    [
        "ya la había volteado", "volteada y tapada", "hoy fue la primera volteada", "le dimos turn a la pila",
        "ando volteándola", "vuelta dada", "pude voltearla", "pila B volteada",
    ],
)  # fmt: skip
def test_a_turning_is_told_in_many_forms(text: str) -> None:
    """Pluperfect, participle, noun, gerund, and the infinitive after what was managed."""
    assert "turned" in kinds(text)


@pytest.mark.parametrize(
    "text",
    [
        "al rato la volteo",
        "mañana le echo agua",
        "ahorita la riego",
        "la volteo hoy o espero",
        "luego la tapo",
    ],
)
def test_a_present_that_looks_ahead_is_no_deed(text: str) -> None:
    """Spanish plans in the present tense; without its accent that looks like a past."""
    assert facts(text) == []


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("hay hormigas, ratones no he visto", ["ants"]),
        ("las hormigas ya se fueron pero hay moscas", ["flies"]),
        ("no era ratón, era un zorrillo", ["other"]),
        ("unos animalitos negros, creo que hormigas", ["ants"]),
    ],
)
def test_what_is_denied_or_gone_is_no_pest(text: str, left: list[str]) -> None:
    """A denial may follow what it denies, and the plainer word gives way to the surer."""
    assert [fact["pest"] for fact in facts(text)] == left


@pytest.mark.parametrize(
    ("text", "units", "read"),
    [
        ("estaba a 108 y no a 180", "f", [108.0]),
        ("cincuenta y tres no, sesenta y tres", "c", [145.4]),
        ("de 120 subió a 135", "f", [135.0]),
        ("65 centígrados hoy, ayer 61", "f", [149.0, 141.8]),
        ("60ºC", "f", [140.0]),
        ("ciento 42", "f", [142.0]),
        ("la pila a 130", "f", [130.0]),
        ("hace frío, 40 grados afuera y la pila a 130", "f", [130.0]),
    ],
)
def test_of_several_numbers_the_pile_s_own_is_read(text: str, units: str, read: list[float]) -> None:
    """What is taken back, what it rose from and the weather are none; a unit holds for what follows it."""
    assert readings(text, units) == read


@pytest.mark.parametrize(
    ("text", "pile"),
    [
        ("la gris está a 130", "gris"), ("la de los duraznos marca 138", "duraznos"),
        ("a la 2 le eché agua", "2"), ("la número 3 está seca", "3"), ("la pila nueva ya está fría", "nueva"),
        ("ay humo!! sale humo de la pila del fondo", "fondo"),
    ],
)  # fmt: skip
def test_a_pile_goes_by_its_look_or_its_place(text: str, pile: str) -> None:
    """A colour, what grows beside it, a number after a preposition; what is seen there is told once."""
    assert [fact.get("pile") for fact in facts(text)] == [pile]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("le echo mas agua o ya no", ["what_next"]),
        ("se le puede poner pan viejo", ["may_add"]),
        ("que le echo si tengo puro zacate", ["mix"]),
        ("cuanta composta me va a salir", ["harvest_amount"]),
        ("no me escriban a las 6", []),
        ("quiero volver a recibir los mensajes, me había dado de baja", ["start"]),
        ("ya no quiero volver a recibir mensajes", ["stop"]),
        ("quítenme una duda, ¿se puede echar cebolla?", ["may_add"]),
        ("quiero que eliminen mi número y mi historial", ["forget_me"]),
    ],
)
def test_a_question_needs_no_marks(text: str, wanted: list[str]) -> None:
    """Many text no "¿?"; the order of words and an "o" tell a question, a wish for messages no opt-out."""
    assert asks(text) == wanted


def test_an_indirect_question_ends_at_its_but() -> None:
    """ "No recuerdo qué le puse, pero ..." goes on to tell what is."""
    assert readings("ni me acuerdo qué le puse, pero anda en 116") == [116.0]


def test_a_day_that_belongs_to_a_thing_dates_nothing() -> None:
    """The rain of Sunday wetted the pile that is wet today."""
    assert [fact["on"] for fact in facts("está empapada por la lluvia del domingo")] == ["2026-08-11"]
