"""What people say and what we say; a new language is a new folder of data beside `en` and `es`.

`understand.py` reads a text into a `Meaning`; `wording.py` turns a message key and its values into text.
"""
