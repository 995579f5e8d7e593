"""Spanish as it is texted: by ear, without marks, with the thing before its verb. One rule a test.

The expected records follow the form and the finer points that the sample messages of this folder show.
"""

from datetime import datetime
from typing import Any

import pytest

from bot.language.record_form import project
from bot.language.understand import understand

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


@pytest.mark.parametrize(
    "text",
    [
        "sale humo de la pila, que hago?", "hay fuego en la composta como lo apago?", "dios mio hay candela!",
        "tiraron un cigarro y sale humo", "como chimenea, echa humo la compostera",
    ],
)  # fmt: skip
def test_smoke_is_smoke_beside_a_question_and_whatever_lit_it(text: str) -> None:
    """What is asked of it, and what it may come from, takes nothing from smoke that is seen."""
    assert "smoke" in kinds(text)


@pytest.mark.parametrize(
    "text",
    [
        "el humo es de la parrilla del vecino", "los vecinos hacen carne asada y hay un humaderal",
        "huele a humo por los incendios", "parece humo pero es vapor",
        "gris como ceniza y no huele a quemado",
    ],
)  # fmt: skip
def test_smoke_from_elsewhere_is_none_of_the_pile_s(text: str) -> None:
    """A barbecue, a wildfire, steam, and what is denied."""
    assert "smoke" not in kinds(text)


@pytest.mark.parametrize(
    ("text", "f"),
    [
        ("ciento treintaycinco", 135.0), ("cientoveintidos", 122.0), ("marca ciento veintitres", 123.0),
        ("esta a ciento veinte y dos y medio seca", 122.0), ("la pila esta en one thirty", 130.0),
        ("132!! yeii", 132.0), ("115 perdon, no 151", 115.0), ("era 122 y yo puse 112, disculpa", 122.0),
        ("q onda ya medi, trae 147", 147.0), ("fijese que anda en 119", 119.0), ("anda a 104 mijo", 104.0),
    ],
)  # fmt: skip
def test_a_reading_is_heard_however_it_is_run_together(text: str, f: float) -> None:
    """Words without spaces, without accents, in English; slips; after an address or "what's up"."""
    assert readings(text) == [f]


@pytest.mark.parametrize(
    "text",
    [
        "ya pague la luz son 130", "mi hijo saco 95 en el examen", "el motor de la troca anda en 210",
        "que calor en la cancha, 101", "traigo la presion en 140", "bajo como 15 grados",
    ],
)  # fmt: skip
def test_a_number_of_other_things_is_no_reading(text: str) -> None:
    """Money, marks, engines, the weather, the blood, and by how much it fell."""
    assert readings(text) == []


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("mi vieja le echo agua", "watered"), ("el muchacho de al lado la volteo", "turned"),
        ("mis suegros ya la habian tapado", "covered"), ("cuando llegue ya la habian regado", "watered"),
        ("mi hijo vino y la volteo", "turned"), ("Se retiró la cubierta", "uncovered"),
        ("Riego: 18 litros", "watered"), ("domingo cosechado y tamizado", "harvested"),
        ("Adición de 30 L de aserrín", "added"), ("volteada + 10 L agua", "watered"),
        ("al montón se fueron mis bolsitas de té", "added"), ("pila 1 volteada y 8 galones", "watered"),
    ],
)  # fmt: skip
def test_a_deed_may_be_another_s_or_a_note_in_a_log(text: str, kind: str) -> None:
    """A named subject without accents, the pluperfect, the impersonal, nouns and participles."""
    assert kind in kinds(text)


@pytest.mark.parametrize(
    "text",
    [
        "hicimos carne asada el domingo", "le eche agua al radiador", "tape la olla", "regue las flores",
        "voltee a ver y ya no estaba", "primero dios el lunes la volteo",
        "yo me aviento la volteada del domingo",
    ],
)  # fmt: skip
def test_a_deed_done_to_something_else_or_only_meant_is_none(text: str) -> None:
    """Cooking, the car, the flower beds; what is offered and what God is asked for."""
    assert kinds(text) == []


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (
            "ni el sabado ni el domingo la volteamos",
            [("not_turned", "2026-08-08"), ("not_turned", "2026-08-09")],
        ),
        ("no la voltee el domingo pero hoy si", [("not_turned", "2026-08-09"), ("turned", "2026-08-11")]),
        ("se me olvido darle vuelta el sabado", [("not_turned", "2026-08-08")]),
        ("bajo a 98 desde 131 del lunes", [("temperature", "2026-08-11"), ("temperature", "2026-08-10")]),
        ("mi nieto la volteo yesterday", [("turned", "2026-08-10")]),
        ("el sabado y el domingo la regue", [("watered", "2026-08-08"), ("watered", "2026-08-09")]),
        ("el lunes que paso la voltee", [("turned", "2026-08-10")]),
    ],
)
def test_each_day_has_what_was_done_on_it(text: str, wanted: list[tuple[str, str]]) -> None:
    """ "Ni ... ni", "pero hoy sí", a day that belongs to one reading, a day said in English."""
    assert [(fact["kind"], fact["on"]) for fact in facts(text)] == wanted


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("se le puede echar la ceniza del boiler", ["may_add"]), ("huevos crudos si o no", ["may_add"]),
        ("cuando va a estar lista, ya van 3 meses", ["when_ready"]), ("ya merito esta o que", ["when_ready"]),
        ("quiero que me mandes mensaje a las 4", ["schedule"]),
        ("mandeme un recordatorio el viernes", ["later"]),
        ("la quiero usar en los chiles sera que es seguro", ["safe_use"]),
        ("que dia toca voltiar", ["what_next"]),
        ("me pasas con alguien de carne y hueso?", ["person"]), ("que le de vuelta el vecino", ["hand_over"]),
        ("regreso el 15, hasta entonces no manden nada", ["pause"]),
        ("kiero kitarme de los mensajes", ["stop"]),
        ("apuntame otra vez pa los mensajes", ["start"]), ("A cómo anda el kilo de frijol", []),
        ("no le he dado vuelta porque me lastime la cintura", []), ("quite la tapa pa que respire", []),
    ],
)  # fmt: skip
def test_a_wish_is_heard_in_the_country_s_own_words(text: str, wanted: list[str]) -> None:
    """Unmarked questions, bare hours of the afternoon, by-ear opt-outs, and what only sounds like a wish."""
    assert asks(text) == wanted


def test_the_morning_of_a_clock_is_not_tomorrow() -> None:
    """ "A las 7 de la mañana" was today; "mañana" alone lies ahead."""
    assert readings("130 a las 7 de la mañana y 138 a las 6 de la tarde") == [130.0, 138.0]
    assert kinds("mañana la volteo") == []


def test_a_pile_s_number_and_its_reading_are_two_numbers() -> None:
    """ "Pila uno ciento diez": said in one breath, told apart."""
    assert [(fact["pile"], fact["f"]) for fact in facts("pila uno ciento diez pila dos ciento treinta")] == [
        ("1", 110.0),
        ("2", 130.0),
    ]


@pytest.mark.parametrize(
    "text", ["la volteamos cada semana", "a veces le echo ceniza", "siempre la riego los lunes"]
)
def test_a_habit_is_no_deed_of_today(text: str) -> None:
    """What is done every week tells nothing of this one."""
    assert facts(text) == []


def test_four_is_the_afternoon_s_where_nothing_is_said() -> None:
    """Nobody wants a reminder at four in the morning; "5 am" says so."""
    four, five = (
        project(understand(text, NOW, "f"), NOW)["asks"][0]["time"]
        for text in ("mejor mándenme los avisos a las 4", "mejor mándenme los avisos a las 5 am")
    )

    assert (four, five) == ("16:00", "05:00")


def test_two_short_answers_that_say_the_same_are_one() -> None:
    """ "Listo, hecho" is done; "para nada, no" is no."""
    assert (kinds("listo, hecho"), asks("para nada, no")) == (["turned"], ["no"])


@pytest.mark.parametrize(
    "text", ["no me escribyn mas", "quítgnme", "no más mnsajes", "cancéenme los mensajes", "quita mi numro"]
)
def test_an_opt_out_with_a_slip_is_one(text: str) -> None:
    """A slip in a word of an opt-out keeps nobody on the list."""
    assert asks(text) == ["stop"]


def test_each_day_has_the_amount_said_beside_it() -> None:
    """ "3 galones ayer y 2 hoy"; 1 US gallon is 3.785 L (NIST Handbook 44, appendix C)."""
    assert [fact["litres"] for fact in facts("le eche 3 galones ayer y 2 hoy")] == [11.4, 7.6]
