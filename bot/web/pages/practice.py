"""Try it in class: a conversation shown on the wall, played on a database of its own that is gone afterwards.

The page holds what was texted; each new text plays it all anew. Nothing of it is kept or counted.
"""

from bot.rehearse import US, practice
from bot.web import forms
from bot.web.office import EDUCATORS, Answer, Drawn, Page, Visit, translate
from bot.web.pages.classes import class_of
from shared.errors import BadInput

MOST_TEXTS, LONGEST = 20, 300


def start(visit: Visit) -> Answer:
    """Before the first text: the code of the class."""
    return _played(visit, [])


def go_on(visit: Visit) -> Answer:
    """One more text, and what comes back."""
    said = [text[:LONGEST] for text in visit.ticked.get("said", ()) if text.strip()]
    said.append(forms.needed(visit, forms.line(visit, "words", "Your text", longest=LONGEST), "Your text"))
    if len(said) > MOST_TEXTS:
        raise BadInput(translate(visit.language, "That is enough for a class: start anew."))
    return _played(visit, said)


def _played(visit: Visit, said: list[str]) -> Answer:
    office = visit.office
    if office.play is None:
        raise BadInput(translate(visit.language, "There is nothing to try it on here."))
    with office.store.work(reading=True) as work:
        taught = class_of(visit, work)
    talk = office.play(practice(taught, said, visit.at)) if said else ()
    both = [each for each in talk if US in (each.sender, each.to)]
    shown = [("program" if each.sender == US else "person", each.text) for each in both]
    return Drawn("practice.html", {"taught": taught, "said": said, "shown": shown, "longest": LONGEST})


PAGES = (
    Page("/classes/{code}/try", "GET", EDUCATORS, start),
    Page("/classes/{code}/try", "POST", EDUCATORS, go_on),
)
