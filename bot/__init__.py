"""Everything that meets people: channels, language, conversation, the command line.

`app.py` wires the parts together; channels only translate; every sentence stands
in the message catalogues under `language/`.
"""
