"""The letters of what is printed. They come with reportlab and go into each file.

A viewer that lacks the usual fonts of PDF would put wider letters in their place, and lines would run out.
"""

from reportlab.pdfbase.pdfmetrics import registerFont
from reportlab.pdfbase.ttfonts import TTFont

BOLD, PLAIN = "VeraBd", "Vera"
for _name in (BOLD, PLAIN):
    registerFont(TTFont(_name, f"{_name}.ttf"))
