"""What each pile needs next, whose turn it is, when to say so, and sending it once.

Deciding is pure and takes the moment as an argument; only `worker.py` sleeps.
Nothing here knows wording or channels: they are handed in.
"""
