"""Numbers and warmth that are none of the pile: "102 out here", "inside 140 outside 75"."""

from bot.language.clauses import sentences
from bot.language.items import Item

HOTTEST_AIR_F = 118  # a bare number above it is none of the air


def mark_weather(items: list[Item]) -> None:
    """Note in `scope` what tells of the weather."""
    for start, end in sentences(items):
        _mark(items, start, end)


def _mark(items: list[Item], start: int, end: int) -> None:
    """A clause about the weather says nothing of the pile; "inside 140 outside 75" does up to "outside"."""
    told = any(items[i].has("<weather>") for i in range(start, end))
    for segment in sorted({items[i].segment for i in range(start, end)}):
        part = [i for i in range(start, end) if items[i].segment == segment]
        about = [
            i
            for i in part
            if (items[i].has("<weather>") and not (i and items[i - 1].has("como", "like")))
            or _out_there(items, i)
            or (told and items[i].has("afuera"))
        ]
        follows = part[0] > start and "weather" in items[part[0] - 1].scope
        bare = not any(
            items[i].has("<it>", "<pile>", "<core>")
            or (items[i].has("<verb>") and not items[i].has("<heat>"))
            or items[i].number
            for i in part
        )
        goes_on = follows and (items[part[0]].key == ":" or bare)  # "102 outside, way too hot"
        numbers = [i for i in part if items[i].number is not None]
        bare_number = len(numbers) == 1 and all(i in numbers or items[i].has("<break>") for i in part)
        if bare_number and _after_weather(items, start, segment):  # "so hot out, 101"
            goes_on = (items[numbers[0]].number or 0) <= HOTTEST_AIR_F
        tells = numbers or any(items[i].has("<heat>", "<moisture>", "weather", "forecast") for i in part)
        if (about and tells) or goes_on:
            first = min(part)
            if (
                about
                and numbers
                and numbers[0] < about[0] < numbers[-1]
                and _cored(items, part[0], numbers[0])
            ):
                first = about[0]
            for i in range(first, part[-1] + 1):
                if (
                    about
                    and i > about[-1]
                    and numbers
                    and i < numbers[-1]
                    and items[i].has("<pile>", "<core>")
                ):
                    break  # "freezing out there, pile 88"
                items[i].scope.add("weather")


def _after_weather(items: list[Item], start: int, segment: int) -> bool:
    """Whether the clause before speaks of the weather, and gives no number of its own."""
    before = [x for x in items[start:] if x.segment == segment - 1]
    return any(x.has("<weather>") for x in before) and not any(x.number is not None for x in before)


def _cored(items: list[Item], first: int, number: int) -> bool:
    """Whether the first reading of a clause is said to be the pile's own."""
    return any(x.has("<core>", "<pile>", "<it>") for x in items[first : number + 2])


def _out_there(items: list[Item], at: int) -> bool:
    """ "109 out", "aquí hace 108": the weather."""
    if items[at].key == "hace" and items[at + 1 : at + 2] and items[at + 1].number is not None:
        return True
    return (
        items[at].has("out")
        and at > 0
        and (items[at - 1].number is not None or items[at - 1].has("<degree_word>"))
    )
